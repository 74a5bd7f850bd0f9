package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer"
)

// The forms that export writes are those the interface for programs describes, with their
// media types.
func TestExportFormatsAreDescribed(t *testing.T) {
	h, err := home.Create(filepath.Join(t.TempDir(), "data"))
	require.NoError(t, err)
	r := httptest.NewRequest(http.MethodGet, "/api/v1/openapi.json", nil)
	r.Host = "localhost"
	w := httptest.NewRecorder()
	viewer.New(h, viewer.Options{}).ServeHTTP(w, r)
	var doc struct {
		Paths map[string]struct {
			Get struct {
				Parameters []struct {
					Name   string
					Schema struct{ Enum []string }
				}
				Responses map[string]struct{ Content map[string]any }
			}
		}
	}
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &doc))
	samples := doc.Paths["/m/{event}/{match}/{robot}/samples"].Get
	var names, described, types []string
	kinds := map[string]bool{}
	for _, f := range exportFormats {
		names, kinds[f.Type] = append(names, f.Name), true
	}
	for _, p := range samples.Parameters {
		if p.Name == "format" {
			described = p.Schema.Enum
		}
	}
	for kind := range samples.Responses["200"].Content {
		types = append(types, kind)
	}
	require.Equal(t, names, described)
	require.Len(t, types, len(kinds))
	for _, kind := range types {
		require.True(t, kinds[kind], kind)
	}
}
