// Package kb embeds the knowledge that the program ships with: what kinds of
// parts there are and how they fail, the guides, the harnesses that guides are
// computed from where the user has none, and the sources of every figure.
package kb

import "embed"

// Files holds sources.yaml, first.yaml, parts/*.yaml, templates/*.yaml, guides/*.yaml
// and the worked cases, cases/*.yaml.
//
//go:embed *.yaml */*.yaml
var Files embed.FS
