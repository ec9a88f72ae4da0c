package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// plainJSON says in a person's words what is wrong with a JSON text, with the
// line where it has several. A nil error stays nil.
func plainJSON(data []byte, err error) error {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	var date *time.ParseError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &syntax):
		if int(syntax.Offset) >= len(bytes.TrimRight(data, " \r\n\t")) && strings.Contains(syntax.Error(), "unexpected end") {
			return fmt.Errorf("%sit ends in the middle: a bracket or a quotation mark is not closed", lineOf(data, len(data)))
		}
		at := max(0, min(int(syntax.Offset)-1, len(data)-1))
		return fmt.Errorf("%sit is no JSON from %q on", lineOf(data, at), shorten(string(data[at:])))
	case errors.As(err, &kind):
		what := kind.Field
		if what == "" {
			what = "the whole"
		} else {
			what = fmt.Sprintf("%q", what)
		}
		return fmt.Errorf("%s%s is %s, and should be %s", lineOf(data, int(kind.Offset)), what, jsonWord(kind.Value), goWord(kind))
	case errors.As(err, &date):
		return fmt.Errorf("%q is no date and time as in 2026-11-25T08:30:00Z", date.Value)
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return errors.New("it ends in the middle")
	}
	return errors.New("it does not hold what it should")
}

// lineOf is the line of an offset, where there are several.
func lineOf(data []byte, at int) string {
	if bytes.Count(bytes.TrimSpace(data), []byte("\n")) == 0 {
		return ""
	}
	return fmt.Sprintf("line %d: ", 1+bytes.Count(data[:min(at, len(data))], []byte("\n")))
}

// jsonWord names a kind of JSON value, which may have the value behind it.
func jsonWord(value string) string {
	word, literal, _ := strings.Cut(value, " ")
	switch word {
	case "string":
		return "text in quotation marks"
	case "bool":
		return "true or false"
	case "array":
		return "a list"
	case "object":
		return "an object in braces"
	}
	if literal == "" {
		return "a number"
	}
	return "the number " + literal
}

// goWord names what a value should have been.
func goWord(e *json.UnmarshalTypeError) string {
	switch k := e.Type.Kind().String(); {
	case k == "string":
		return "text in quotation marks"
	case k == "bool":
		return "true or false"
	case k == "slice":
		return "a list in square brackets"
	case k == "struct" || k == "map" || k == "ptr":
		return "an object in braces"
	case strings.HasPrefix(k, "int"), strings.HasPrefix(k, "uint"):
		return "a whole number"
	}
	return "a number without quotation marks"
}
