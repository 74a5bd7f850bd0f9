package viewer

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"html/template"
	"net"
	"net/http"
	"net/url"

	"github.com/afterbell/afterbell/viewer/page"
)

// enterPath takes the token out of the link that was handed on.
const enterPath = "/enter"

// lanCookie holds the token of a browser that came by the link.
const lanCookie = "afterbell_lan"

// NewLanToken is a random token of 144 bits.
func NewLanToken() string {
	b := make([]byte, 18)
	_, _ = rand.Read(b) // never fails (crypto/rand)
	return base64.RawURLEncoding.EncodeToString(b)
}

// LanLink is the link to the pages on an address of this machine ("192.168.1.5:4152").
func LanLink(address, token string) string {
	return "http://" + address + enterPath + "?token=" + url.QueryEscape(token)
}

// Lan serves the same pages to other machines, for reading only, to whoever came by a link
// with the token. What it refuses:
//
//   - a Host that is not the address the request came to: a page elsewhere could make a name of
//     its own lead here (DNS rebinding), and its reader's browser has the cookie of no such name,
//     but an address is known to be this machine's before anything else is looked at;
//   - everything without the token, the style sheet too;
//   - everything that writes: verdicts, notes and logs come from the laptop itself.
//
// The token is in the link once. The answer to the link makes it a cookie that no script reads
// and no other site's request carries, and leads on to an address without it. That is done by
// a page and not by a redirect: a redirect of a link in a message still counts as that site's
// request, and the cookie would stay behind.
func (s *Server) Lan(token string) http.Handler {
	known := sha256.Sum256([]byte(token))
	right := func(given string) bool {
		sum := sha256.Sum256([]byte(given))
		return given != "" && subtle.ConstantTimeCompare(sum[:], known[:]) == 1
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		secure(w.Header())
		if !cameTo(r) {
			http.Error(w, "this is not the address of these pages: take the link that the laptop shows", http.StatusMisdirectedRequest)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "over the network the pages are for reading only: note it on the laptop itself", http.StatusMethodNotAllowed)
			return
		}
		if r.URL.Path == enterPath {
			s.enter(w, r, right)
			return
		}
		c, err := r.Cookie(lanCookie)
		if err != nil || !right(c.Value) {
			http.Error(w, "these pages need the link that the laptop shows: scan its code again", http.StatusUnauthorized)
			return
		}
		if r.URL.Path == lanPath {
			http.NotFound(w, r) // the link is the laptop's to hand on
			return
		}
		s.pages.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), readOnlyKey{}, true)))
	})
}

// enter makes a cookie of the token in the link.
func (s *Server) enter(w http.ResponseWriter, r *http.Request, right func(string) bool) {
	token := r.URL.Query().Get("token")
	if !right(token) {
		http.Error(w, "this link is of another time: scan the code that the laptop shows now", http.StatusUnauthorized)
		return
	}
	http.SetCookie(w, &http.Cookie{Name: lanCookie, Value: token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	h := w.Header()
	h.Set("Refresh", "0; url=/")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Content-Type", "text/html; charset=utf-8")
	const body = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>afterbell</title><p><a href="/">To the pit board</a></p></html>`
	if _, err := w.Write([]byte(body)); err != nil {
		s.options.Log.Debug("page not delivered", "err", err)
	}
}

// cameTo is whether the Host of a request is the very address it came to.
func cameTo(r *http.Request) bool {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return false
	}
	host, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		host, port = r.Host, "80"
	}
	_, want, err := net.SplitHostPort(local.String())
	ip := net.ParseIP(host)
	return err == nil && port == want && ip != nil && ip.Equal(local.IP)
}

type readOnlyKey struct{}

// readOnly is whether a request came over the network: then no page shows what writes.
func readOnly(r *http.Request) bool { return r.Context().Value(readOnlyKey{}) != nil }

// lanPath is the page that shows the link to the pages, on this machine only.
const lanPath = "/lan"

// ShowLan makes the pages on this machine show these links. It is for the time before the
// first request.
func (s *Server) ShowLan(links []string) { s.lanLinks = links }

// lan shows the link and its code.
func (s *Server) lan(w http.ResponseWriter, r *http.Request) {
	var data struct {
		Links  []string
		Code   template.HTML
		Others []string
	}
	data.Links = s.lanLinks
	if len(data.Links) > 0 {
		code, err := qrPicture(data.Links[0])
		if err != nil {
			s.problem(w, http.StatusInternalServerError, "The code cannot be drawn.", err.Error())
			return
		}
		data.Code, data.Others = code, data.Links[1:]
	}
	var body, b bytes.Buffer
	err := lanTemplate.Execute(&body, data)
	if err == nil {
		err = page.Write(&b, page.Frame{
			Title: "On a phone, afterbell", Class: "lan", Nav: s.nav(r, lanPath),
			Body:    template.HTML(body.String()), // made by html/template above
			Scripts: s.scripts,
		})
	}
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The page cannot be drawn.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

// nav leads to the pages there are from everywhere.
func (s *Server) nav(r *http.Request, current string) []page.Link {
	out := []page.Link{{Text: "Pit board", Href: "/", Current: current == "/"}}
	if len(s.lanLinks) > 0 && !readOnly(r) {
		out = append(out, page.Link{Text: "On a phone", Href: lanPath, Current: current == lanPath})
	}
	return out
}

var lanTemplate = template.Must(template.New("lan").Parse(`<main><section class="row"><div class="margin"><h2>On a phone</h2></div><div>
{{if .Code}}<p class="sentence">Scan this with a phone in the same network.</p>
{{.Code}}
<p>Or open <a class="address" href="{{index .Links 0}}">{{index .Links 0}}</a></p>
{{range .Others}}<p>In another network of this laptop: <span class="address">{{.}}</span></p>{{end}}
<p class="note">Whoever has this link can read every match on this laptop, with the crew’s notes, until the program is stopped; nobody can change anything. The pages travel unencrypted: in a network of strangers others may read them too.</p>
{{else}}<p class="sentence">The pages are on this machine only.</p>
<p>To read them on a phone in the same network, start again with <code>afterbell serve --lan</code> or <code>afterbell collect --lan</code>.</p>{{end}}
</div></section></main>`))
