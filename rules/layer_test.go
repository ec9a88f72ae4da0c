package rules_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

// over is a layer of files in memory.
func over(name string, files map[string]string) rules.Layer {
	fsys := fstest.MapFS{}
	for f, text := range files {
		fsys[f] = &fstest.MapFile{Data: []byte(text)}
	}
	return rules.Layer{Name: name, Files: fsys}
}

// causeOf returns a cause of a guide.
func causeOf(t *testing.T, b *rules.Base, guide, id string) engine.GuideCause {
	t.Helper()
	g := b.Guide(guide)
	require.NotNil(t, g, guide)
	for _, c := range g.Causes {
		if c.ID == id {
			return c
		}
	}
	t.Fatalf("%s has no cause %s", guide, id)
	return engine.GuideCause{}
}

// checkOf returns a check of a guide.
func checkOf(t *testing.T, b *rules.Base, guide, id string) engine.GuideCheck {
	t.Helper()
	g := b.Guide(guide)
	require.NotNil(t, g, guide)
	for _, k := range g.Checks {
		if k.ID == id {
			return k
		}
	}
	t.Fatalf("%s has no check %s", guide, id)
	return engine.GuideCheck{}
}

// under is the base that the layers of these tests lie over.
func under() fstest.MapFS {
	return small(map[string]string{"guides/tiny.yaml": tiny, "guides/lender.yaml": lender, "guides/borrower.yaml": borrower})
}

func TestLayerReplaces(t *testing.T) {
	b, err := rules.ReadBase(under(),
		over("/a", map[string]string{
			"guides/mine.yaml": strings.Replace(tiny, "about: x", "about: mine", 1),
			"guides/new.yaml":  strings.Replace(strings.Replace(tiny, "guide: tiny", "guide: new", 1), "s1", "s2", 1),
			"parts/thing.yaml": strings.Replace(thing, "odds: 1", "odds: 7", 1),
			"sources.yaml":     "version: 1\nsources:\n  - {id: s2, title: x, where: y, reached: z}\n",
		}),
		over("/b", map[string]string{"guides/t.yaml": strings.Replace(tiny, "about: x", "about: last", 1)}))
	require.NoError(t, err)
	require.Equal(t, "last", b.Guide("tiny").About, "the last layer is on top")
	require.Equal(t, []string{"borrower", "new", "tiny"}, b.GuideIDs())
	require.Len(t, b.Sources, 2)
	require.Equal(t, []string{
		"part thing from /a/parts/thing.yaml overrides the shipped one",
		"guide tiny from /a/guides/mine.yaml overrides the shipped one",
		"guide tiny from /b/guides/t.yaml overrides that of /a/guides/mine.yaml",
	}, b.Notes, "what is only added overrides nothing")
}

// TestLayerUnmarked: odds and rows that a layer changes have a source of their own,
// or are warned of; that of what they stand for is another figure's.
func TestLayerUnmarked(t *testing.T) {
	const more = `extends: borrower
version: 2
causes:
  - {use: borrower / wet, odds: 6}
  - {use: borrower / broken, odds: 2, source: memory}
checks:
  - {use: borrower / volts, table: {wet: [0.5, 0.5]}}
  - {use: borrower / look, source: practice, table: {broken: [0.3, 0.7]}}
`
	b, err := rules.ReadBase(under(), over("/a", map[string]string{"guides/x.yaml": more}))
	require.NoError(t, err)
	g := b.Guide("borrower")
	require.Equal(t, "memory", g.Causes[1].Source)
	require.Equal(t, "practice", g.Checks[0].RowsSource)
	require.Equal(t, "s1", g.Checks[0].Source)
	var told []string
	for _, p := range b.Review() {
		if strings.Contains(p.Text, "given anew") {
			told = append(told, p.Error())
		}
	}
	const right = " given anew here have no source; right would be: \"source\" beside them: an id of sources.yaml, practice or memory"
	require.Equal(t, []string{"/a/guides/x.yaml:4:33: warning: the odds" + right, "/a/guides/x.yaml:7:36: warning: the rows" + right}, told)
}

func TestLayerExtends(t *testing.T) {
	const more = `extends: borrower
version: 2
cautions: [mind this]
facts:
  cold: {kind: yes_no, ask: "Is it cold?", default: no}
causes:
  - {id: broken, say: anew, odds: 9, source: practice, repair: x, prove: [volts], kills: x, hurts: x}
  - {id: frozen, say: x, odds: 2, source: s1, repair: x, prove: [ohms], kills: x, hurts: x, when: cold}
  - {use: borrower / wet, odds: 6}
checks:
  - use: borrower / volts
    table: {frozen: [0.5, 0.5]}
  - use: borrower / look
    table: {frozen: [0.3, 0.7]}
  - id: ohms
    mode: ohms
    power: off
    say: x
    why: x
    minutes: 1
    source: s1
    outcomes: [{id: low, when: "!over && v < 10", say: under 10 ohm}, {id: high, when: "over || v >= 10", say: 10 ohm or more}]
    table:
      otherwise: [0.9, 0.1]
      frozen: [0.1, 0.9]
`
	layer := over("/a", map[string]string{"guides/x.yaml": more})
	b, err := rules.ReadBase(under(), layer)
	require.NoError(t, err)
	g := b.Guide("borrower")
	require.Equal(t, "x", g.About, "what it does not speak of stays")
	require.Equal(t, []string{"mind this"}, g.Cautions)
	var ids []string
	for _, c := range g.Causes {
		ids = append(ids, c.ID)
	}
	require.Equal(t, []string{"wet", "broken", "frozen"}, ids, "in their places, the new one last")
	require.Equal(t, "anew", causeOf(t, b, "borrower", "broken").Say)
	require.Equal(t, 6.0, causeOf(t, b, "borrower", "wet").Odds)
	require.Equal(t, "Dry it.", causeOf(t, b, "borrower", "wet").Repair, "its words stay")
	require.Equal(t, map[string][]float64{"broken": {0.9, 0.1}, "frozen": {0.5, 0.5}}, checkOf(t, b, "borrower", "volts").Table, "rows are added")
	require.Equal(t, map[string][]float64{"broken": {0.4, 0.6}, "frozen": {0.3, 0.7}}, checkOf(t, b, "borrower", "look").Table)
	require.Equal(t, []string{
		"guide borrower: cause broken from /a/guides/x.yaml overrides the shipped one",
		"guide borrower: cause wet from /a/guides/x.yaml overrides the shipped one",
		"guide borrower: check volts from /a/guides/x.yaml overrides the shipped one",
		"guide borrower: check look from /a/guides/x.yaml overrides the shipped one",
	}, b.Notes)

	t.Run("twice", func(t *testing.T) {
		b, err := rules.ReadBase(under(), layer, over("/b", map[string]string{
			"guides/y.yaml": "extends: borrower\nversion: 2\ncauses:\n  - {use: borrower / frozen, odds: 8}\n"}))
		require.NoError(t, err)
		require.Equal(t, 8.0, causeOf(t, b, "borrower", "frozen").Odds)
		require.Equal(t, "anew", causeOf(t, b, "borrower", "broken").Say)
	})
	t.Run("a shared guide", func(t *testing.T) {
		b, err := rules.ReadBase(under(), over("/b", map[string]string{
			"guides/y.yaml": "extends: lender\nversion: 2\nchecks:\n  - {use: lender / look, table: {worn: [0.6, 0.4]}}\n"}))
		require.NoError(t, err)
		require.Equal(t, []float64{0.6, 0.4}, checkOf(t, b, "lender", "look").Table["worn"])
	})
}

// TestLayerProblems holds the places of mistakes: each in its own file, an
// extension's too.
func TestLayerProblems(t *testing.T) {
	tests := []struct {
		name string
		file string
		text string
		want string
	}{
		{"extends nothing", "guides/x.yaml", "extends: borowwer\nversion: 2\n",
			`/a/guides/x.yaml:1:10: extends: there is no guide "borowwer"; did you mean "borrower"?`},
		{"old version", "guides/x.yaml", "extends: tiny\nversion: 3\n",
			`/a/guides/x.yaml:2:10: version: version 3 is newer than this program reads (2); use a newer program`},
		{"key that cannot be extended", "guides/x.yaml", "extends: tiny\nversion: 2\nshared: yes\n",
			`/a/guides/x.yaml:3:1: guide file: unknown key "shared"; choose from: extends, version, cautions, roles, facts, causes, checks`},
		{"new cause without odds", "guides/x.yaml", "extends: tiny\nversion: 2\ncauses:\n  - {id: b, say: x, source: s1, repair: x, prove: [k], kills: x, hurts: x}\n",
			`/a/guides/x.yaml:4:5: cause: "odds" is missing`},
		{"row of a cause that is not there", "guides/x.yaml", "extends: tiny\nversion: 2\nchecks:\n  - {use: tiny / k, table: {bb: [0.5, 0.5]}}\n",
			`/a/guides/x.yaml:4:29: check k: table: there is no cause "bb"; choose from: a`},
		{"changed beyond what may be", "guides/x.yaml", "extends: tiny\nversion: 2\ncauses:\n  - {use: tiny / a, say: y}\n",
			`/a/guides/x.yaml:4:21: cause: unknown key "say"; choose from: use, odds, source, prove, traits, when`},
		{"use of what it lacks", "guides/x.yaml", "extends: tiny\nversion: 2\ncauses:\n  - {use: tiny / z, odds: 3}\n",
			`/a/guides/x.yaml:4:11: use: tiny has no cause "z"`},
		{"a condition", "guides/x.yaml", "extends: tiny\nversion: 2\ncauses:\n  - {use: tiny / a,\n     when: dry}\n",
			`/a/guides/x.yaml:5:12: cause a: when: unknown name dry; it may use numbers only`},
		{"a list where a mapping goes", "guides/x.yaml", "extends: tiny\nversion: 2\ncauses: {a: b}\n",
			`/a/guides/x.yaml:3:9: causes: want a list, as in [a, b]`},
		{"the guide twice", "guides/x.yaml", "extends: tiny\nguide: tiny\nversion: 2\n",
			`/a/guides/x.yaml:2:1: guide file: unknown key "guide"; choose from: extends, version, cautions, roles, facts, causes, checks`},
		{"no such template", "guides/x.yaml", strings.Replace(tiny, "causes:", "template: ../../etc/passwd\ncauses:", 1),
			`/a/guides/x.yaml:4:11: template: there is no harness in templates "../../etc/passwd"`},
		{"a template that is no harness", "templates/x.yaml", "harness: x\nground: p.a\nparts:\n  p: {kind: thing}\n",
			`/a/templates/x.yaml:1:1: a template names the symptom that it stands for`},
		{"another ending", "guides/x.yml", tiny, `/a/guides/x.yml:1:1: the file's name must end in .yaml`},
		{"odds out of range", "odds.yaml", "learned: odds\nversion: 1\ncases: []\nodds:\n  tiny / a: 1e9\n",
			`/a/odds.yaml:5:13: odds: tiny / a: 1e+09 is impossible; want 0.001 to 1000`},
		{"odds of nothing", "odds.yaml", "learned: odds\nversion: 1\ncases: [c, c]\nodds:\n  tiny: 1\n",
			"/a/odds.yaml:3:12: cases: c stands twice\n" + `/a/odds.yaml:5:3: odds: "tiny" names nothing; write GUIDE / CAUSE or part KIND MODE`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := rules.ReadBase(under(), over("/a", map[string]string{tt.file: tt.text}))
			require.Error(t, err)
			var ps rules.Problems
			require.True(t, errors.As(err, &ps), "%T", err)
			require.Equal(t, tt.want, err.Error())
		})
	}
}

func TestLayerOdds(t *testing.T) {
	const odds = `learned: odds
version: 1
cases: [2026-11-25-1]
odds:
  tiny / a: 9.5
  lender / worn: 4
  lender / wet: 8
  part thing open: 3
  tiny / gone: 5
  part other open: 5
`
	b, err := rules.ReadBase(under(), over("/a", map[string]string{"odds.yaml": odds}))
	require.NoError(t, err)
	require.Equal(t, 9.5, causeOf(t, b, "tiny", "a").Odds)
	require.Equal(t, rules.SourceLearned, causeOf(t, b, "tiny", "a").Source)
	require.Equal(t, 4.0, causeOf(t, b, "lender", "worn").Odds)
	require.Equal(t, 5.0, causeOf(t, b, "borrower", "wet").Odds, "given anew where it is used")
	require.Equal(t, "s1", causeOf(t, b, "borrower", "wet").Source)
	h, err := b.Harness("x.yaml", []byte("harness: x\nground: p.a\nparts:\n  p: {kind: thing}\n"))
	require.NoError(t, err)
	require.Equal(t, 3.0, h.Part("p").Failures[0].Odds)
	require.Equal(t, []string{
		"odds of part other open from /a/odds.yaml are left out: there is no such cause any more",
		"odds of tiny / gone from /a/odds.yaml are left out: there is no such cause any more",
		"odds of 4 causes from /a/odds.yaml override those below",
	}, b.Notes)
	l, err := rules.ReadLearned("x", []byte(odds))
	require.NoError(t, err)
	require.Equal(t, []string{"2026-11-25-1"}, l.Cases)
	require.Len(t, l.Odds, 6)
}

func TestDigest(t *testing.T) {
	plain, err := rules.ReadBase(under())
	require.NoError(t, err)
	again, err := rules.ReadBase(under(), over("/a", nil))
	require.NoError(t, err)
	require.Equal(t, plain.Digest, again.Digest, "an empty layer changes nothing")
	seen := map[string]string{plain.Digest: "plain"}
	for file, text := range map[string]string{
		"guides/t.yaml": tiny, "parts/thing.yaml": thing, "odds.yaml": "learned: odds\nversion: 1\ncases: []\nodds: {tiny / a: 2}\n",
		"sources.yaml": "version: 1\nsources: []\n", "templates/x.yaml": "harness: x\nground: p.a\nparts:\n  p: {kind: thing}\nsymptoms: []\n",
	} {
		b, _ := rules.ReadBase(under(), over("/a", map[string]string{file: text}))
		require.Empty(t, seen[b.Digest], "%s: %s", file, b.Digest)
		seen[b.Digest] = file
	}
}

// TestNothingReachesOut holds that a layer is only ever read, and only its own
// files: no link leads out of it, no name climbs out, and no expression has
// anything to call.
func TestNothingReachesOut(t *testing.T) {
	outside := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(outside, "secret.yaml"), []byte(tiny), 0o600))
	read := func(t *testing.T, make func(dir string)) error {
		dir := t.TempDir()
		make(dir)
		root, err := os.OpenRoot(dir)
		require.NoError(t, err)
		defer root.Close()
		_, err = rules.ReadBase(under(), rules.Layer{Name: "layer", Files: root.FS()})
		return err
	}
	guide := func(text string) func(string) {
		return func(dir string) {
			require.NoError(t, os.Mkdir(filepath.Join(dir, "guides"), 0o755))
			require.NoError(t, os.WriteFile(filepath.Join(dir, "guides", "x.yaml"), []byte(text), 0o600))
		}
	}
	require.NoError(t, read(t, guide(tiny)), "a plain file is read")

	for name, make := range map[string]func(dir string){
		"a link to a file": func(dir string) {
			require.NoError(t, os.Mkdir(filepath.Join(dir, "guides"), 0o755))
			require.NoError(t, os.Symlink(filepath.Join(outside, "secret.yaml"), filepath.Join(dir, "guides", "x.yaml")))
		},
		"a link that climbs": func(dir string) {
			require.NoError(t, os.Mkdir(filepath.Join(dir, "guides"), 0o755))
			rel, err := filepath.Rel(filepath.Join(dir, "guides"), filepath.Join(outside, "secret.yaml"))
			require.NoError(t, err)
			require.NoError(t, os.Symlink(rel, filepath.Join(dir, "guides", "x.yaml")))
		},
		"a link to a folder": func(dir string) { require.NoError(t, os.Symlink(outside, filepath.Join(dir, "guides"))) },
		"a link beside":      func(dir string) { require.NoError(t, os.Symlink("/dev/zero", filepath.Join(dir, "odds.yaml"))) },
		"a folder for a file": func(dir string) {
			require.NoError(t, os.MkdirAll(filepath.Join(dir, "guides", "x.yaml"), 0o755))
		},
		"too large": guide(strings.Repeat("# x\n", 1<<20)),
	} {
		t.Run(name, func(t *testing.T) {
			err := read(t, make)
			require.ErrorContains(t, err, "not read: ")
			require.NotContains(t, err.Error(), outside)
		})
	}

	for _, text := range []string{
		`env("HOME")`, `file("x")`, `len("x") > 0`, `now().Year() > 0`, `http.Get("x") != nil`, `fromJSON("1") == 1`, `print("x") == ""`,
	} {
		t.Run(text, func(t *testing.T) {
			bad := strings.Replace(tiny, "hurts: x}", "hurts: x, when: '"+text+"'}", 1)
			require.ErrorContains(t, read(t, guide(bad)), "layer/guides/x.yaml:5:")
		})
	}

	t.Run("imports", func(t *testing.T) {
		files, err := filepath.Glob("*.go")
		require.NoError(t, err)
		seen := 0
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			seen++
			for _, reach := range []string{`"os"`, `"os/exec"`, `"net"`, `"net/http"`, `"plugin"`, `"syscall"`, `"unsafe"`} {
				require.NotContains(t, string(text), "\t"+reach+"\n", "%s: rules are read from what is handed in", file)
			}
		}
		require.Greater(t, seen, 8)
	})
}

// TestShippedUnderLayer lays a small change over the shipped base.
func TestShippedUnderLayer(t *testing.T) {
	b, err := rules.ReadBase(kb.Files, over("mine", map[string]string{
		"guides/x.yaml": "extends: common\nversion: 2\ncauses:\n  - {use: common / nothing is wrong, odds: 11}\n"}))
	require.NoError(t, err)
	require.Equal(t, 11.0, causeOf(t, b, "common", "nothing is wrong").Odds)
	require.Equal(t, []string{"guide common: cause nothing is wrong from mine/guides/x.yaml overrides the shipped one"}, b.Notes)
}
