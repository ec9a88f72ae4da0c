// Package kb embeds the knowledge that the program ships with: what kinds of
// parts there are and how they fail, the guides, and the sources of every figure.
package kb

import "embed"

// Files holds sources.yaml, parts/*.yaml and guides/*.yaml.
//
//go:embed sources.yaml parts/*.yaml guides/*.yaml
var Files embed.FS
