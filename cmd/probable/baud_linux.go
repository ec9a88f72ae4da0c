//go:build linux && !ppc64 && !ppc64le

package main

import "golang.org/x/sys/unix"

// setBaud sets the speed of a serial port, any number of bits a second.
func setBaud(fd, baud int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS2)
	if err != nil {
		return err
	}
	t.Cflag = t.Cflag&^unix.CBAUD | unix.BOTHER
	t.Ispeed, t.Ospeed = uint32(baud), uint32(baud)
	return unix.IoctlSetTermios(fd, unix.TCSETS2, t)
}
