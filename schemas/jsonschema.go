package schemas

import _ "embed"

//go:embed report.schema.json
var reportSchema string

//go:embed remark.schema.json
var remarkSchema string

//go:embed note.schema.json
var noteSchema string

//go:embed profile.schema.json
var profileSchema string

// ReportSchema is the JSON Schema (draft 2020-12) of report.json and analyze --json.
func ReportSchema() []byte { return []byte(reportSchema) }

// NoteSchema is the JSON Schema of a line of notes.jsonl that is a verdict.
func NoteSchema() []byte { return []byte(noteSchema) }

// ProfileSchema is the JSON Schema (draft 2020-12) of robot.yaml, for editors that complete
// and check while typing. The profile package's Parse checks more.
func ProfileSchema() []byte { return []byte(profileSchema) }

// RemarkSchema is the JSON Schema of a line of notes.jsonl that is a remark.
func RemarkSchema() []byte { return []byte(remarkSchema) }
