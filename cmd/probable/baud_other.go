//go:build !linux || ppc64 || ppc64le

package main

import "errors"

// setBaud says that the speed has to be set by other means here.
func setBaud(int, int) error {
	return errors.New("this program cannot set a port's speed on this system: set it with stty, and leave out --baud")
}
