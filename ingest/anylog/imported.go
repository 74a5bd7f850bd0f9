package anylog

import (
	"fmt"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// Imported is what came of reading some files as one log.
type Imported struct {
	Log     *schemas.Log
	Bad     int      // rows
	First   []string // of their errors
	Ignored []string // of the last file
	Twice   bool     // a second reading was needed
}

// Import reads files as 1.ENDING, 2.ENDING and so on of one log; read feeds one of them.
func Import[F any](o columns.Options, ending string, files []F, read func(file F, name string, b *columns.Builder) (ignored []string, err error)) (in Imported, err error) {
	b := columns.New(o)
	for again := true; again; {
		for i, file := range files {
			if in.Ignored, err = read(file, fmt.Sprintf("%d.%s", i+1, ending), b); err != nil {
				return Imported{}, err
			}
		}
		again = b.Again()
		in.Twice = in.Twice || again
	}
	n, first := b.BadRows()
	in.Bad = n
	for _, row := range first {
		in.First = append(in.First, row.Error())
	}
	in.Log = b.Log()
	return in, nil
}
