package casefile

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
)

// failure is what the machine refused, in a person's words.
type failure struct {
	say string
	err error
}

func (f *failure) Error() string { return f.say }
func (f *failure) Unwrap() error { return f.err }

// plain says what the machine refused in a person's words; nil stays nil, and
// what it does not know stays as it is.
func plain(err error) error {
	var pe *fs.PathError
	var known *failure
	if !errors.As(err, &pe) || errors.As(err, &known) {
		return err
	}
	say := ""
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		say = "the disk of %s is full: make room on it"
	case errors.Is(err, syscall.EFBIG):
		say = "%s may not grow any further: a limit for files is reached"
	case errors.Is(err, syscall.EROFS):
		say = "the disk of %s is read-only"
	case errors.Is(err, syscall.ENOTDIR):
		say = "there is no folder at %s: a part of that is a file"
	case errors.Is(err, fs.ErrPermission):
		say = "%s: you may not write or read there; its owner or its permissions forbid it"
	case errors.Is(err, fs.ErrNotExist):
		say = "%s is gone: put its folder back, or plug its disk in again"
	case errors.Is(err, syscall.EIO):
		say = "the disk of %s does not answer: is it still plugged in?"
	default:
		return fmt.Errorf("%s: %w", pe.Path, pe.Err)
	}
	return &failure{fmt.Sprintf(say, pe.Path), err}
}
