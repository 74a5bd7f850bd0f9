package schemas

// Files in the folder of a stored match. SignalsFile is there whenever the folder is.
const (
	SignalsFile = "signals.parquet"
	ReportFile  = "report.json"
	SheetFile   = "report.html"
	ProfileFile = "robot.yaml"
	NotesFile   = "notes.jsonl"
)

// IdlePrefix begins the names under which samples outside of any match are kept.
const IdlePrefix = "idle-"
