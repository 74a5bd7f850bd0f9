package viewer

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/profile"
)

// startTime stands in for the modification time of files that are part of the program.
var startTime = time.Now()

// stored is one match as pages need it.
type stored struct {
	report  *schemas.Report
	profile *profile.Profile
	log     *schemas.Log // the signals the profile names
}

// load reads a match: its report, its profile, and of its samples the signals that pages
// show. No file stays open.
func (s *Server) load(id schemas.MatchID) (*stored, error) {
	r, err := s.readReport(id)
	if err != nil {
		return nil, err
	}
	p, err := s.readProfile(id)
	if err != nil {
		return nil, err
	}
	names := shown(r, p)
	log, err := s.readSignals(id, names)
	if err != nil {
		return nil, err
	}
	return &stored{r, p, log}, nil
}

func (s *Server) readReport(id schemas.MatchID) (*schemas.Report, error) {
	name := filepath.Join(s.home.Dir(id), schemas.ReportFile)
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, rebuild(id, err)
	}
	var r schemas.Report
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, rebuild(id, fmt.Errorf("%s: %w", name, err))
	}
	if r.Report != schemas.ReportVersion {
		return nil, rebuild(id, fmt.Errorf("%s is a report of version %d, and this program shows version %d", name, r.Report, schemas.ReportVersion))
	}
	return &r, nil
}

// rebuild adds what makes a derived file again.
func rebuild(id schemas.MatchID, err error) error {
	return fmt.Errorf("%w; `afterbell verify --rebuild %s` makes it again", err, id)
}

// reimport adds what helps when a file is gone that nothing else can be made into.
func reimport(err error) error {
	return fmt.Errorf("%w; import its log again with --replace", err)
}

func (s *Server) readProfile(id schemas.MatchID) (*profile.Profile, error) {
	name := filepath.Join(s.home.Dir(id), schemas.ProfileFile)
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, reimport(err)
	}
	p, err := profile.Parse(name, data)
	if err != nil {
		return nil, reimport(err)
	}
	return p, nil
}

// shown are the signals that the profile names or a finding points at.
func shown(r *schemas.Report, p *profile.Profile) map[string]bool {
	names := map[string]bool{}
	for _, ref := range p.Refs() {
		names[ref.Ref.Signal] = true
	}
	for _, f := range r.Findings {
		for _, e := range f.Evidence {
			names[e.Signal] = true
		}
	}
	return names
}

// readSignals reads those of the named signals that the match has.
func (s *Server) readSignals(id schemas.MatchID, names map[string]bool) (*schemas.Log, error) {
	f, err := matchfile.Open(filepath.Join(s.home.Dir(id), schemas.SignalsFile))
	if err != nil {
		return nil, reimport(err)
	}
	defer f.Close()
	var have []string
	for _, info := range f.Signals() {
		if names[info.Name] {
			have = append(have, info.Name)
		}
	}
	if len(have) == 0 {
		return &schemas.Log{}, nil
	}
	log, err := f.Read(have...)
	if err != nil {
		return nil, reimport(err)
	}
	return log, nil
}

// rowCache keeps the rows of the board that were drawn last. A row is drawn again when its
// report file changed.
type rowCache struct {
	mu   sync.Mutex
	rows map[schemas.MatchID]cachedRow
	used int64 // counts every look, to tell which rows were looked at last
}

type cachedRow struct {
	changed time.Time
	size    int64
	row     row
	used    int64
}

// mostRows are kept, some 20 kB each.
const mostRows = 1000

func (c *rowCache) get(id schemas.MatchID, info os.FileInfo) (row, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	r, ok := c.rows[id]
	if !ok || !r.changed.Equal(info.ModTime()) || r.size != info.Size() {
		return row{}, false
	}
	c.used++
	r.used = c.used
	c.rows[id] = r
	return r.row, true
}

func (c *rowCache) put(id schemas.MatchID, info os.FileInfo, r row) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.rows == nil {
		c.rows = map[schemas.MatchID]cachedRow{}
	}
	if len(c.rows) >= mostRows {
		for id, old := range c.rows { // the half that nobody looked at lately
			if old.used < c.used-mostRows/2 {
				delete(c.rows, id)
			}
		}
	}
	c.used++
	c.rows[id] = cachedRow{info.ModTime(), info.Size(), r, c.used}
}
