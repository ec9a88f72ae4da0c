package casefile

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/gofrs/flock"

	"probable/engine"
)

// Version is the version of the journal that this program writes.
const Version = 1

// Kind is a record's kind.
type Kind string

const (
	KindOpened Kind = "opened"
	KindEvent  Kind = "event"
	KindNote   Kind = "note"
	KindClosed Kind = "closed"
)

// Record is one line of a journal. Of Opened, Event, Note and Closed one is set,
// as Kind says.
type Record struct {
	Kind   Kind      `json:"kind"`
	Time   time.Time `json:"time"`
	Opened *Opened   `json:"opened,omitempty"`
	Event  *Event    `json:"event,omitempty"`
	Note   string    `json:"note,omitempty"`
	Photo  string    `json:"photo,omitempty"` // of a note: the path of a picture
	Closed *Closed   `json:"closed,omitempty"`
	// Stands is of an event: how the case stood after it. It is a remark; what a
	// case is follows from its events.
	Stands *Stands `json:"stands,omitempty"`
}

// Stands says how a case stood, for lists and comparisons.
type Stands struct {
	Status   engine.Status `json:"status"`
	Cause    string        `json:"cause"` // the likeliest
	P        float64       `json:"p"`     // its probability
	Readings int           `json:"readings"`
}

// Closed says how a case stood when its last event closed it, so that later cases
// need not work it through again. An event that follows opens the case anew.
type Closed struct {
	Status engine.Status `json:"status"`
	Cause  string        `json:"cause,omitempty"` // what was repaired last
}

// End returns how a case that is closed ended, or nil.
func End(records []Record) *Closed {
	for i := len(records) - 1; i >= 0; i-- {
		switch r := records[i]; {
		case r.Kind == KindClosed:
			return r.Closed
		case r.Kind != KindEvent:
		case r.Stands == nil || r.Stands.Status == engine.Open:
			return nil
		default: // cut off before its closed record
			end := &Closed{Status: r.Stands.Status}
			for _, s := range Standing(records) {
				if s.Event != nil && s.Event.Kind == engine.Repaired {
					end.Cause = s.Event.Cause
				}
			}
			return end
		}
	}
	return nil
}

// Opened says what a case is about. It holds the harness's text, so that a
// case can be taken up when the file has changed or gone.
type Opened struct {
	Version     int            `json:"version"`
	Tool        string         `json:"tool"`
	Base        string         `json:"base"` // digest of the knowledge base
	HarnessFile string         `json:"harness_file,omitempty"`
	HarnessText string         `json:"harness_text,omitempty"`
	Harness     string         `json:"harness,omitempty"` // its name
	Digest      string         `json:"digest,omitempty"`  // of its text
	Symptom     string         `json:"symptom,omitempty"`
	Guide       string         `json:"guide,omitempty"`
	Facts       map[string]any `json:"facts,omitempty"`
	Qualified   bool           `json:"qualified,omitempty"`
	// Supply is what was measured on the supplies before the first check, in V by part.
	Supply map[string]float64 `json:"supply,omitempty"`
	// Before counts, by cause, what was mended and proven on this harness before.
	Before map[string]int `json:"before,omitempty"`
	// From is the case whose answers this one took over, or nil.
	From *From `json:"from,omitempty"`
}

// From says which case the answers of another one come from, and what that was
// worked on.
type From struct {
	Case   string `json:"case"`
	Base   string `json:"base"`             // digest of the knowledge
	Digest string `json:"digest,omitempty"` // of the harness's text
}

// Event is an engine.Event as it stands in a journal.
type Event struct {
	Kind   engine.EventKind `json:"kind"`
	Check  string           `json:"check,omitempty"`
	Value  *float64         `json:"value,omitempty"`
	Over   bool             `json:"over,omitempty"`
	Answer string           `json:"answer,omitempty"`
	Values []float64        `json:"values,omitempty"`
	Why    string           `json:"why,omitempty"`
	Cause  string           `json:"cause,omitempty"`
	N      int              `json:"n,omitempty"`
}

// FromEngine returns the event as a journal holds it.
func FromEngine(e engine.Event) *Event {
	out := &Event{Kind: e.Kind, Check: e.Check, Over: e.Result.Over, Answer: e.Result.Answer,
		Values: e.Result.Values, Why: e.Why, Cause: e.Cause, N: e.N}
	if (e.Kind == engine.Read || e.Kind == engine.Revised) && !e.Result.Over && e.Result.Answer == "" && len(e.Result.Values) == 0 {
		out.Value = &e.Result.Value
	}
	return out
}

// Engine returns the event as the engine takes it.
func (e *Event) Engine() engine.Event {
	out := engine.Event{Kind: e.Kind, Check: e.Check, Why: e.Why, Cause: e.Cause, N: e.N,
		Result: engine.Result{Over: e.Over, Answer: e.Answer, Values: e.Values}}
	if e.Value != nil {
		out.Result.Value = *e.Value
	}
	return out
}

// ErrBusy says that another program has the case open for writing.
var ErrBusy = errors.New("the case is open in another window")

// File is a journal open for writing. It remembers what it wrote, so that a
// journal whose folder was taken away can be written anew where it comes back.
type File struct {
	ID    string
	path  string
	f     *os.File
	lock  *flock.Flock
	whole []byte // what is written whole
	torn  bool   // part of a record may stand behind it
}

// Suffix ends the name of a case's file.
const Suffix = ".case.jsonl"

var idForm = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}-[0-9]+$`)

func path(dir, id string) (string, error) {
	if !idForm.MatchString(id) {
		return "", fmt.Errorf("%q is not a case; cases are named like 2026-11-25-1", id)
	}
	return filepath.Join(dir, id+Suffix), nil
}

// Ready says whether a case can be kept in the folder, in words for a person, and
// makes the folder where it is not there yet.
func Ready(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return plain(err)
	}
	f, err := os.CreateTemp(dir, ".ready-*")
	if err == nil {
		_, err = f.Write(make([]byte, readyBytes)) // an empty file fits on a full disk
		err = errors.Join(err, f.Close(), os.Remove(f.Name()))
	}
	if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
		pe.Path = dir
	}
	return plain(err)
}

// readyBytes is about what a case takes.
const readyBytes = 8 << 10

// Create makes a new case in the folder, which it makes too, and writes its
// first record, and more that it begins with. The case is named for the day and
// counted from 1. After an error there is no new case.
func Create(dir string, now time.Time, o Opened, more ...Record) (*File, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, plain(err)
	}
	day := now.Format("2006-01-02")
	taken, err := List(dir)
	if err != nil {
		return nil, err
	}
	last := 0
	for _, id := range taken {
		var n int
		if rest, ok := strings.CutPrefix(id, day+"-"); ok {
			if _, err := fmt.Sscanf(rest, "%d", &n); err == nil {
				last = max(last, n)
			}
		}
	}
	for n := last + 1; ; n++ {
		id := fmt.Sprintf("%s-%d", day, n)
		p, err := path(dir, id)
		if err != nil {
			return nil, err
		}
		f, err := os.OpenFile(p, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
		if errors.Is(err, fs.ErrExist) {
			continue // somebody else was faster
		}
		if err != nil {
			return nil, plain(err)
		}
		c := &File{ID: id, path: p, f: f, lock: flock.New(p + ".lock")}
		if err := c.take(); err != nil {
			f.Close()
			_ = os.Remove(p) // it is ours, and empty
			return nil, err
		}
		o.Version = Version
		for _, r := range append([]Record{{Kind: KindOpened, Time: now, Opened: &o}}, more...) {
			if err := c.Append(r); err != nil {
				_ = os.Remove(p)
				c.Close()
				return nil, err
			}
		}
		return c, syncDir(dir)
	}
}

// Open opens a case for more records and returns those it has. It cuts off a
// torn last line. The error is ErrBusy where another program writes to it.
func Open(dir, id string) (*File, []Record, error) {
	p, err := path(dir, id)
	if err != nil {
		return nil, nil, err
	}
	f, err := os.OpenFile(p, os.O_RDWR, 0)
	if err != nil {
		return nil, nil, named(id, err)
	}
	c := &File{ID: id, path: p, f: f, lock: flock.New(p + ".lock")}
	if err := c.take(); err != nil {
		f.Close()
		return nil, nil, err
	}
	data, err := io.ReadAll(f)
	if err != nil {
		c.Close()
		return nil, nil, plain(err)
	}
	records, whole, err := read(bytes.NewReader(data), id)
	if err == nil {
		err = plain(f.Truncate(whole))
	}
	if err != nil {
		c.Close()
		return nil, nil, err
	}
	c.whole = data[:whole:whole]
	return c, records, nil
}

func named(id string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no case %s here: %w", id, fs.ErrNotExist)
	}
	return plain(err)
}

// take keeps other programs from writing to the journal. The lock goes with the
// program that holds it, however it ends.
func (c *File) take() error {
	ok, err := c.lock.TryLock()
	if err != nil {
		return plain(err)
	}
	if !ok {
		return fmt.Errorf("%s: %w", c.ID, ErrBusy)
	}
	return nil
}

// Append writes a record whole and syncs it. After an error the journal is as
// it was before, and the record may be tried again.
func (c *File) Append(r Record) error {
	line, err := json.Marshal(r)
	if err != nil {
		return err
	}
	if err := c.save(append(line, '\n')); err != nil {
		return fmt.Errorf("case %s was not saved: %w", c.ID, plain(err))
	}
	return nil
}

func (c *File) save(line []byte) error {
	if err := c.stands(); err != nil {
		return err
	}
	if c.torn {
		if err := c.f.Truncate(int64(len(c.whole))); err != nil {
			return err
		}
	}
	c.torn = true
	_, err := c.f.WriteAt(line, int64(len(c.whole)))
	if err == nil {
		err = c.f.Sync()
	}
	if err != nil {
		// Take back what part of the line may stand there.
		c.torn = c.f.Truncate(int64(len(c.whole))) != nil
		return err
	}
	c.torn = false
	c.whole = append(c.whole, line...)
	return nil
}

// stands makes sure that the file still has its name in its folder: one can
// write for long into a file that was deleted, or whose disk was pulled. Where
// the folder is there and the file is not, it is written anew.
func (c *File) stands() error {
	held, err := c.f.Stat()
	if err != nil {
		return err
	}
	found, err := os.Stat(c.path)
	switch {
	case err == nil && os.SameFile(held, found):
		if c.lock.Locked() {
			return nil
		}
		return c.take() // it was let go to write the file anew, and that failed
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return err
	}
	if _, err := os.Stat(filepath.Dir(c.path)); err != nil {
		return err
	}
	// The disk may be back, and the file with it, or another with its name.
	f, err := os.OpenFile(c.path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	_ = c.lock.Unlock() // it may be of a folder that is gone
	if err = c.take(); err == nil {
		err = c.renew(f)
	}
	if err != nil {
		f.Close()
		return err
	}
	c.f.Close()
	c.f, c.torn = f, false
	return nil
}

// renew makes a file hold what was written whole, unless it holds anything else.
func (c *File) renew(f *os.File) error {
	data, err := io.ReadAll(f)
	if err != nil {
		return err
	}
	n := min(len(data), len(c.whole))
	if !bytes.Equal(data[:n], c.whole[:n]) || len(data) > n && bytes.IndexByte(data[n:], '\n') >= 0 {
		return &failure{fmt.Sprintf("%s is another file now", c.path), fs.ErrExist}
	}
	if err := f.Truncate(int64(len(c.whole))); err != nil {
		return err
	}
	if _, err := f.WriteAt(c.whole, 0); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	return syncDir(filepath.Dir(c.path))
}

// Close lets the case go.
func (c *File) Close() error {
	return errors.Join(c.f.Close(), c.lock.Unlock())
}

// Read returns the records of a case without opening it for writing.
func Read(dir, id string) ([]Record, error) {
	p, err := path(dir, id)
	if err != nil {
		return nil, err
	}
	f, err := os.Open(p)
	if err != nil {
		return nil, named(id, err)
	}
	defer f.Close()
	records, _, err := read(f, id)
	return records, err
}

// maxLine bounds a record: the opened one holds a harness.
const maxLine = 16 << 20

// read returns the whole records and how many bytes they take.
func read(r io.Reader, id string) (records []Record, whole int64, err error) {
	br := bufio.NewReader(r)
	for n := 1; ; n++ {
		line, err := readLine(br)
		if err == io.EOF {
			// What has no newline was not synced whole.
			break
		}
		if err != nil {
			return nil, 0, fmt.Errorf("case %s, line %d: %w", id, n, err)
		}
		var rec Record
		if jerr := json.Unmarshal(line, &rec); jerr != nil || !rec.valid(n == 1) {
			if _, perr := br.Peek(1); perr == io.EOF {
				break // torn, with the newline of something older behind it
			}
			return nil, 0, fmt.Errorf("case %s, line %d: not a record of a case; the lines before it are whole", id, n)
		}
		if rec.Opened != nil && rec.Opened.Version > Version {
			return nil, 0, fmt.Errorf("case %s was written by a newer program (version %d, this one reads %d)", id, rec.Opened.Version, Version)
		}
		records = append(records, rec)
		whole += int64(len(line))
	}
	if len(records) == 0 {
		return nil, 0, fmt.Errorf("case %s holds nothing: it was cut off before its first record was saved", id)
	}
	return records, whole, nil
}

func readLine(br *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := br.ReadSlice('\n')
		line = append(line, part...)
		switch {
		case err == nil:
			return line, nil
		case !errors.Is(err, bufio.ErrBufferFull):
			return nil, err
		case len(line) > maxLine:
			return nil, fmt.Errorf("a line of more than %d bytes", maxLine)
		}
	}
}

func (r *Record) valid(first bool) bool {
	switch r.Kind {
	case KindOpened:
		return first && r.Opened != nil
	case KindEvent:
		return !first && r.Event != nil
	case KindNote:
		return !first
	case KindClosed:
		return !first && r.Closed != nil
	}
	return false
}

// List returns the IDs of the cases in a folder, oldest first; a folder that
// is not there has none.
func List(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, plain(err)
	}
	var ids []string
	for _, e := range entries {
		if id, ok := strings.CutSuffix(e.Name(), Suffix); ok && idForm.MatchString(id) {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, func(a, b string) int {
		if d := strings.Compare(a[:10], b[:10]); d != 0 {
			return d
		}
		if d := len(a) - len(b); d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	return ids, nil
}

// syncDir makes a new file's name last through a power cut, where the file
// system can.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	_ = d.Sync() // some file systems cannot sync a folder
	return d.Close()
}
