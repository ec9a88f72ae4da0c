package report

import _ "embed"

// Schema is the JSON Schema (draft 2020-12) of the JSON form of a report.
//
//go:embed report.schema.json
var Schema []byte
