package viewer

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// apiSite is a site of q14 in two seasons for one of its robots, a match without a report,
// and a damaged one; it can save and compare.
func apiSite(t testing.TB) *site {
	s := newSite(t)
	write := func(text string) func(io.Writer, *schemas.Log, map[string]string) error {
		return func(w io.Writer, log *schemas.Log, _ map[string]string) error {
			_, err := fmt.Fprintf(w, "%s %d\n", text, log.Samples())
			return err
		}
	}
	s.server = New(s.home, Options{
		Version: "test",
		Formats: []Format{
			{"csv", "text/csv", write("csv")},
			{"jsonl", "application/jsonl", write("jsonl")},
			{"parquet", "application/vnd.apache.parquet", write("parquet")},
			{"arrow", "application/vnd.apache.arrow.file", write("arrow")},
			{"arrow-stream", "application/vnd.apache.arrow.stream", write("arrow-stream")},
		},
		Compare: func(_ context.Context, _ schemas.MatchID, piece int, at string) (*schemas.Comparison, error) {
			if piece > 9 {
				return nil, &AskError{errors.New("there is no piece 10")}
			}
			c := &schemas.Comparison{Comparison: schemas.ComparisonVersion, Piece: piece, Stage: at}
			c.Finish()
			return c, nil
		},
		Fleet: fixtureFleets,
	})
	busy := fixture.Busy()
	busy.Log.Signals = append(busy.Log.Signals, &schemas.Signal{
		Name: "robot/mode", Kind: schemas.Text, Time: []int64{30e6, 50e6, 170e6}, Text: []string{"autonomous", "driver", "disabled"},
	})
	busy.Log.Normalize()
	s.store(busy, q14, "2031-03-01T14:32:00Z", "2031-03-01T14:35:10Z")
	for _, season := range []string{"2030", "2031"} {
		s.store(fixture.Rookie(), matchID(season, "millbrook-open", "q14", "curlew"), "", "2031-03-01T14:35:10Z")
	}
	spoiled := matchID("2031", "millbrook-open", "q15", "heron")
	s.store(fixture.Busy(), spoiled, "", "2031-03-01T15:35:10Z")
	require.NoError(t, os.WriteFile(filepath.Join(s.home.Dir(spoiled), "report.json"), []byte("{"), 0o644))
	gone := matchID("2031", "millbrook-open", "q16", "heron")
	s.store(fixture.Busy(), gone, "", "2031-03-01T16:35:10Z")
	require.NoError(t, os.WriteFile(filepath.Join(s.home.Dir(gone), "signals.parquet"), []byte("PAR1"), 0o644))
	return s
}

// described is the document that describes the interface, with a compiler for its schemas.
type described struct {
	root  map[string]any
	named map[string]*jsonschema.Schema // by place in the document
	c     *jsonschema.Compiler
}

func description(t testing.TB) *described {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(openAPI))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("https://openapi.example/doc.json", doc))
	return &described{doc.(map[string]any), map[string]*jsonschema.Schema{}, c}
}

func (d *described) schema(t testing.TB, place string) *jsonschema.Schema {
	t.Helper()
	if d.named[place] == nil {
		s, err := d.c.Compile("https://openapi.example/doc.json#" + place)
		require.NoError(t, err, place)
		d.named[place] = s
	}
	return d.named[place]
}

// response is where the document describes the answer of that status, references followed.
func (d *described) response(t testing.TB, path string, status int) (place string, what map[string]any) {
	t.Helper()
	escaped := strings.NewReplacer("~", "~0", "/", "~1").Replace(path)
	responses := d.root["paths"].(map[string]any)[path].(map[string]any)["get"].(map[string]any)["responses"].(map[string]any)
	what, ok := responses[fmt.Sprint(status)].(map[string]any)
	require.True(t, ok, "%s answers %d, which is not described", path, status)
	if ref, ok := what["$ref"].(string); ok {
		name := strings.TrimPrefix(ref, "#/components/responses/")
		return "/components/responses/" + name, d.root["components"].(map[string]any)["responses"].(map[string]any)[name].(map[string]any)
	}
	return "/paths/" + escaped + "/get/responses/" + fmt.Sprint(status), what
}

// apiCases are questions that together see every answer the document describes.
func apiCases() []apiCase {
	const of = ofMatch
	q14 := strings.NewReplacer("{event}", "millbrook-open", "{match}", "q14", "{robot}", "heron")
	out := []apiCase{{"/openapi.json", "/openapi.json", 200}, {"/matches", "/matches", 200}}
	const ofEvent = "/e/{event}"
	for target, status := range map[string]int{
		"/e/dozen": 200, "/e/few?season=2031": 200, "/e/bare": 200, "/e/dozen?season=2030": 404, "/e/nowhere": 404, "/e/broken": 500, "/e/dozen?season=%": 400,
	} {
		out = append(out, apiCase{ofEvent, target, status})
	}
	for path, query := range map[string]string{
		of: "", of + "/report": "", of + "/findings": "", of + "/signals": "",
		of + "/window": "?signal=power%2Fvoltage&from=30&to=60", of + "/values": "?signal=power%2Fvoltage&at=50&at=-5",
		of + "/samples": "?from=30&to=60", of + "/compare": "?piece=3&at=lift",
	} {
		at := func(event, match, robot string) string {
			return strings.NewReplacer("{event}", event, "{match}", match, "{robot}", robot).Replace(path) + query
		}
		damaged := "q16"
		if strings.HasSuffix(path, "/report") || strings.HasSuffix(path, "/findings") {
			damaged = "q15"
		}
		out = append(
			out, apiCase{path, at("millbrook-open", "q14", "heron"), 200},
			apiCase{path, at("millbrook-open", "q99", "heron"), 404}, apiCase{path, at("Millbrook", "q14", "heron"), 404},
			apiCase{path, at("millbrook-open", "q14", "curlew"), 409}, apiCase{path, at("millbrook-open", damaged, "heron"), 500},
		)
	}
	voltage := "signal=power%2Fvoltage"
	for _, c := range []struct {
		what, query string
		status      int
	}{
		{"", "?season=%", 400},
		{"", "?season=2031", 200},
		{"", "?season=2029", 404},
		{"/window", "", 400},
		{"/window", "?" + voltage + "&from=x", 400},
		{"/window", "?" + voltage + "&from=NaN", 400},
		{"/window", "?" + voltage + "&to=1e300", 400},
		{"/window", "?" + voltage + "&from=9&to=8", 400},
		{"/window", "?" + voltage + "&columns=0", 400},
		{"/window", "?" + voltage + "&columns=9000", 400},
		{"/window", "?" + voltage + "&columns=1.5", 400},
		{"/window", "?signal=nothing", 404},
		{"/window", "?" + strings.Repeat(voltage+"&", 65), 400},
		{"/window", "?" + voltage + "&from=50&to=50", 200},
		{"/window", "?signal=robot%2Fmode", 200},
		{"/window", "?" + voltage + "&" + voltage, 200},
		{"/values", "?" + voltage, 400},
		{"/values", "?at=1", 400},
		{"/values", "?" + voltage + "&at=now", 400},
		{"/values", "?signal=nothing&at=1", 404},
		{"/values", "?signal=robot%2Fmode&at=50", 200},
		{"/samples", "?format=xlsx", 400},
		{"/samples", "?format=parquet", 200},
		{"/samples", "?format=arrow", 200},
		{"/samples", "?format=arrow-stream", 200},
		{"/samples", "?format=jsonl", 200},
		{"/samples", "?signal=nothing", 404},
		{"/samples", "?from=3&to=2", 400},
		{"/compare", "", 400},
		{"/compare", "?piece=x", 400},
		{"/compare", "?piece=10", 404},
	} {
		out = append(out, apiCase{of + c.what, q14.Replace(of) + c.what + c.query, c.status})
	}
	return out
}

type apiCase struct {
	path, target string // as the document names it, and as it is asked
	status       int
}

// Every answer is one that the document describes, in form and in words, and every answer
// that it describes was seen.
func TestAnswersAreAsDescribed(t *testing.T) {
	s, d := apiSite(t), description(t)
	seen := map[string]bool{}
	for _, c := range apiCases() {
		a := s.get(apiPath + c.target)
		require.Equal(t, c.status, a.status, "%s: %s", c.target, a.body)
		place, what := d.response(t, c.path, a.status)
		kind := a.header.Get("Content-Type")
		content, _ := what["content"].(map[string]any)
		_, ok := content[kind]
		require.True(t, ok, "%s answers %s, which is not described for %d", c.target, kind, a.status)
		seen[fmt.Sprint(c.path, " ", a.status, " ", kind)] = true
		if !strings.HasSuffix(kind, "json") {
			continue
		}
		body, err := jsonschema.UnmarshalJSON(strings.NewReader(a.body))
		require.NoError(t, err, c.target)
		schema := d.schema(t, place+"/content/"+strings.NewReplacer("~", "~0", "/", "~1", "+", "%2B").Replace(kind)+"/schema")
		require.NoError(t, schema.Validate(body), "%s: %s", c.target, a.body)
		if a.status >= 400 {
			require.EqualValues(t, fmt.Sprint(a.status), fmt.Sprint(body.(map[string]any)["status"]), c.target)
			require.NotEmpty(t, body.(map[string]any)["detail"], c.target)
		}
		if a.status == 200 && a.header.Get("ETag") != "" {
			seen[c.path+" 304"] = s.again(t, apiPath+c.target, a)
		}
	}
	seen[ofMatch+"/window 304"] = s.again(t, apiPath+"/m/millbrook-open/q14/heron/window?signal=power%2Fvoltage", s.get(apiPath+"/m/millbrook-open/q14/heron/window?signal=power%2Fvoltage"))
	seen[ofMatch+"/samples 304"] = s.again(t, apiPath+"/m/millbrook-open/q14/heron/samples", s.get(apiPath+"/m/millbrook-open/q14/heron/samples"))
	for path, methods := range d.root["paths"].(map[string]any) {
		require.Len(t, methods, 1, path)
		for status := range methods.(map[string]any)["get"].(map[string]any)["responses"].(map[string]any) {
			var code int
			_, err := fmt.Sscan(status, &code)
			require.NoError(t, err)
			_, what := d.response(t, path, code)
			if code == http.StatusNotModified {
				require.True(t, seen[path+" 304"], path)
			}
			content, _ := what["content"].(map[string]any)
			for kind := range content {
				require.True(t, seen[fmt.Sprint(path, " ", code, " ", kind)], "%s %d %s is described and was not seen", path, code, kind)
			}
		}
	}
}

// again asks for what the asker still has.
func (s *site) again(t *testing.T, target string, had answer) bool {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, target, nil)
	r.Host = "localhost"
	r.Header.Set("If-None-Match", `"other", `+had.header.Get("ETag"))
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	require.Equal(t, http.StatusNotModified, w.Code, target)
	require.Empty(t, w.Body.String(), target)
	return true
}

// What is served and what is described are the same addresses, and every parameter that is
// described is one that the server reads.
func TestEveryRouteIsDescribed(t *testing.T) {
	d := description(t)
	var served, told []string
	for _, r := range apiRoutes {
		served = append(served, r.path)
	}
	for path := range d.root["paths"].(map[string]any) {
		told = append(told, path)
	}
	require.ElementsMatch(t, served, told)
	require.Equal(t, "3.1.0", d.root["openapi"])
	var limits struct {
		Paths map[string]struct {
			Get struct {
				Parameters []struct {
					Name   string
					Schema struct{ Maximum int }
				}
			}
		}
	}
	require.NoError(t, json.Unmarshal(openAPI, &limits))
	for _, p := range limits.Paths[ofMatch+"/window"].Get.Parameters {
		if p.Name == "columns" {
			require.Equal(t, mostColumns, p.Schema.Maximum)
		}
	}
}

func TestWhatIsServedOfTheInterfaceIsGuarded(t *testing.T) {
	s := apiSite(t)
	for _, target := range []string{
		"/matches", "/m/millbrook-open/q14/heron/compare?piece=1", "/nothing", "/m/millbrook-open/q14/heron/report",
		"/m/millbrook-open/q14/heron/window?signal=power%2Fvoltage",
	} {
		a := s.get(apiPath + target)
		require.Equal(t, "no-store", a.header.Get("Cache-Control"), target)
		require.Contains(t, a.header.Get("Content-Security-Policy"), "default-src 'none'", target)
		require.Empty(t, a.header.Get("Access-Control-Allow-Origin"), target)
		require.Equal(t, http.StatusMisdirectedRequest, s.ask(http.MethodGet, apiPath+target, "pit.example").status)
		require.Contains(t, []int{http.StatusMethodNotAllowed, http.StatusNotFound}, s.ask(http.MethodPost, apiPath+target, "localhost").status, target)
	}
	a := s.get(apiPath + "/nothing")
	require.Equal(t, 404, a.status)
	require.Equal(t, "application/problem+json", a.header.Get("Content-Type"))
}

// Text is compressed as the asker likes; windows and Parquet are sent as they are.
func TestAnswersShrinkWhereThatGains(t *testing.T) {
	s := apiSite(t)
	report := apiPath + "/m/millbrook-open/q14/heron/report"
	plain := s.get(report)
	require.Empty(t, plain.header.Get("Content-Encoding"))
	ask := func(target, accept string) (answer, []byte) {
		r := httptest.NewRequest(http.MethodGet, target, nil)
		r.Host = "localhost"
		r.Header.Set("Accept-Encoding", accept)
		w := httptest.NewRecorder()
		s.server.ServeHTTP(w, r)
		return answer{w.Code, w.Header(), ""}, w.Body.Bytes()
	}
	a, body := ask(report, "gzip")
	require.Equal(t, "gzip", a.header.Get("Content-Encoding"))
	g, err := gzip.NewReader(bytes.NewReader(body))
	require.NoError(t, err)
	whole, err := io.ReadAll(g)
	require.NoError(t, err)
	require.Equal(t, plain.body, string(whole))
	require.Less(t, 2*len(body), len(whole))
	a, body = ask(report, "br, zstd")
	require.Equal(t, "zstd", a.header.Get("Content-Encoding"))
	z, err := zstd.NewReader(nil)
	require.NoError(t, err)
	defer z.Close()
	whole, err = z.DecodeAll(body, nil)
	require.NoError(t, err)
	require.Equal(t, plain.body, string(whole))
	require.Contains(t, a.header.Values("Vary"), "Accept-Encoding")
	a, _ = ask(apiPath+"/m/millbrook-open/q14/heron/window?signal=power%2Fvoltage", "gzip, zstd")
	require.Empty(t, a.header.Get("Content-Encoding"))
}

func TestSignalsAreInOrderAndComplete(t *testing.T) {
	s := apiSite(t)
	var got struct{ Signals []apiSignal }
	require.NoError(t, json.Unmarshal([]byte(s.get(apiPath+"/m/millbrook-open/q14/heron/signals").body), &got))
	busy := fixture.Busy().Log
	require.Len(t, got.Signals, len(busy.Signals)+1)
	require.True(t, slices.IsSortedFunc(got.Signals, func(a, b apiSignal) int { return strings.Compare(a.Name, b.Name) }))
	for _, q := range got.Signals {
		if of := busy.Find(q.Name); of == nil {
			require.Equal(t, "robot/mode text 3", fmt.Sprint(q.Name, " ", q.Type, " ", q.Samples))
		} else {
			require.Equal(t, of.Len(), q.Samples, q.Name)
		}
		require.Nil(t, q.Readings, "this folder has no pyramids, and nobody read every sample")
	}
}

func TestValuesAreThoseOfTheLastSample(t *testing.T) {
	s := apiSite(t)
	v := fixture.Busy().Log.Find("power/voltage")
	at := schemas.Seconds(v.Time[100]) + 0.001
	var got struct {
		Signals []struct {
			Name   string
			Values []apiValue
		}
	}
	target := fmt.Sprintf("%s/m/millbrook-open/q14/heron/values?signal=power%%2Fvoltage&at=%v&at=%v", apiPath, at, schemas.Seconds(v.Time[0])-1)
	require.NoError(t, json.Unmarshal([]byte(s.get(target).body), &got))
	require.Equal(t, "power/voltage", got.Signals[0].Name)
	require.InDelta(t, v.Float[100], *got.Signals[0].Values[0].Value, 0)
	require.InDelta(t, schemas.Seconds(v.Time[100]), *got.Signals[0].Values[0].TimeS, 1e-9)
	require.Equal(t, apiValue{}, got.Signals[0].Values[1], "before the first sample nothing is known")
}

func TestSavedStretchIsTheStretch(t *testing.T) {
	s := apiSite(t)
	var saved *schemas.Log
	s.server.options.Formats = append(slices.Clip(s.server.options.Formats), Format{Name: "seen", Type: "text/plain", Write: func(_ io.Writer, log *schemas.Log, _ map[string]string) error {
		saved = log
		return nil
	}})
	log := fixture.Busy().Log
	from, to := 40.0, 41.5
	n := log.Cut(schemas.Micros(from), schemas.Micros(to)).Find("power/voltage").Len()
	a := s.get(apiPath + "/m/millbrook-open/q14/heron/samples?" + url.Values{"signal": {"power/voltage"}, "from": {"40"}, "to": {"41.5"}, "format": {"csv"}}.Encode())
	require.Equal(t, fmt.Sprintf("csv %d\n", n), a.body)
	require.Equal(t, "attachment; filename=millbrook-open-q14-heron.csv", a.header.Get("Content-Disposition"))

	// What was said long before and not again since is known from the first moment on.
	m := fixture.Busy()
	mode := &schemas.Signal{Name: "robot/mode", Kind: schemas.Text, Time: []int64{schemas.Micros(30), schemas.Micros(35)}, Text: []string{"autonomous", "driver"}}
	m.Log = &schemas.Log{Signals: append(slices.Clip(m.Log.Signals), mode)}
	slices.SortFunc(m.Log.Signals, func(a, b *schemas.Signal) int { return strings.Compare(a.Name, b.Name) })
	s.store(m, matchID("2031", "millbrook-open", "q18", "heron"), "", "2031-03-01T16:35:10Z")
	require.Equal(t, 200, s.get(apiPath+"/m/millbrook-open/q18/heron/samples?"+url.Values{"from": {"40"}, "to": {"41.5"}, "format": {"seen"}}.Encode()).status)
	held := saved.Find("robot/mode")
	require.NotNil(t, held)
	require.Equal(t, []int64{schemas.Micros(from)}, held.Time)
	require.Equal(t, []string{"driver"}, held.Text)
}
