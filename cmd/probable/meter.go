package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"golang.org/x/term"

	"probable/engine"
)

// meter is a multimeter that prints a line for each reading, into a file, a pipe
// or a serial port.
type meter struct {
	lines chan string
	end   error // why no more come, once lines is closed
	f     *os.File
	undo  func()
}

// meterWait is how long one waits for a meter's next line.
const meterWait = 10 * time.Second

// openMeter opens where a meter prints. A serial port is read at so many bits a
// second, or as it is set up where baud is 0, without line editing; close leaves it
// as it was.
func openMeter(path string, baud int) (*meter, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, readable(err)
	}
	m := &meter{lines: make(chan string), f: f, undo: func() {}}
	port := term.IsTerminal(int(f.Fd()))
	if port {
		if was, err := term.MakeRaw(int(f.Fd())); err == nil {
			m.undo = func() { _ = term.Restore(int(f.Fd()), was) }
		}
	}
	if baud != 0 {
		err := errors.New("it is no serial port: leave out --baud")
		if port {
			err = setBaud(int(f.Fd()), baud)
		}
		if err != nil {
			m.close()
			return nil, fmt.Errorf("%s: %w", path, err)
		}
	}
	go m.read(f)
	return m, nil
}

// read passes lines on while somebody waits for one; what the meter prints
// meanwhile is old by then, and dropped.
func (m *meter) read(r io.Reader) {
	defer close(m.lines)
	s := bufio.NewScanner(r)
	s.Split(endings13)
	for s.Scan() {
		line := strings.TrimSpace(s.Text())
		if line == "" {
			continue
		}
		if m.regular() {
			m.lines <- line // a file holds readings in the order of the checks
			continue
		}
		select {
		case m.lines <- line:
		default:
		}
	}
	m.end = s.Err()
}

// regular reports whether the meter's lines stand in a file.
func (m *meter) regular() bool {
	info, err := m.f.Stat()
	return err == nil && info.Mode().IsRegular()
}

// endings13 splits at line feeds and carriage returns: meters end lines with
// either or both.
func endings13(data []byte, atEOF bool) (advance int, token []byte, err error) {
	for i, c := range data {
		if c == '\n' || c == '\r' {
			return i + 1, data[:i], nil
		}
	}
	if atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	if len(data) > maxMeterLine {
		return 0, nil, errors.New("what the meter prints has no lines")
	}
	return 0, nil, nil
}

const maxMeterLine = 1000

// next returns the next line that the meter prints, or errStopped where a signal
// on stop comes first.
func (m *meter) next(stop <-chan os.Signal) (string, error) {
	select {
	case line, ok := <-m.lines:
		if !ok {
			return "", errors.New("the meter prints no more; type the reading")
		}
		return line, nil
	case <-stop:
		return "", errStopped
	case <-time.After(meterWait):
		return "", fmt.Errorf("the meter printed nothing for %v; is it on and set to send? Type the reading", meterWait)
	}
}

func (m *meter) close() {
	m.undo()
	m.f.Close()
}

// scpiInfinity is what SCPI instruments answer when over range, and in place of
// what is no number (SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5, from memory:
// 9.9E37 and 9.91E37).
const scpiInfinity = 9.9e37

// parseMeter reads a line that a meter printed: a number in SI units, as in
// 4.98 or +4.98000E+00, or what a person may type, as in 49.8mV or OL. Of
// values between commas the first counts.
func parseMeter(c *engine.Check, line string) (engine.Result, error) {
	first, _, _ := strings.Cut(line, ",")
	first = strings.TrimSpace(first)
	if x, err := strconv.ParseFloat(first, 64); err == nil {
		switch {
		case x != x || x > scpiInfinity*1.0005:
			return engine.Result{}, fmt.Errorf("the meter says that %q is no number", line)
		case x >= scpiInfinity || x <= -scpiInfinity:
			return engine.Result{Over: true}, nil
		}
		return engine.Result{Value: x}, nil
	}
	r, err := parseTyped(c, first)
	if err != nil {
		return r, fmt.Errorf("the meter printed %q: %w", line, err)
	}
	return r, nil
}
