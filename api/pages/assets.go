package pages

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
)

// ContentSecurityPolicy is the policy that every page of this package obeys:
// nothing from elsewhere, no inline style or script, no framing. The caller
// sends it as the Content-Security-Policy header.
const ContentSecurityPolicy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; " +
	"connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// AssetPrefix is the path below which Assets must be mounted.
const AssetPrefix = "/assets/"

//go:embed assets
var assetFiles embed.FS

// asset is one embedded file under the name that carries its hash.
type asset struct {
	contentType string
	body        []byte
	packed      []byte // the same as gzip
}

var (
	assetsByPath = map[string]asset{}
	assetPaths   = map[string]string{}
)

func init() {
	addAsset("page.css", "text/css; charset=utf-8", readAsset("drawing.css"), readAsset("picture.css"), readAsset("page.css"))
	addAsset("book.js", "text/javascript; charset=utf-8", readAsset("book.js"))
	addAsset("pencilled.js", "text/javascript; charset=utf-8", readAsset("pencilled.js"))
	addAsset("own.js", "text/javascript; charset=utf-8", readAsset("own.js"))
	addAsset("feed.js", "text/javascript; charset=utf-8", readAsset("feed.js"))
	addAsset("board.css", "text/css; charset=utf-8", readAsset("board.css"))
	addAsset("live.js", "text/javascript; charset=utf-8", readAsset("live.js"))
	addAsset("keys.js", "text/javascript; charset=utf-8", readAsset("keys.js"))
	addAsset("signout.js", "text/javascript; charset=utf-8", readAsset("signout.js"))
	addAsset("setup.js", "text/javascript; charset=utf-8", readAsset("setup.js"))
	addAsset("board.js", "text/javascript; charset=utf-8", readAsset("board.js"))
	addAsset("mark.svg", "image/svg+xml", readAsset("mark.svg"))
}

// addAsset publishes parts, one after the other, as one file.
func addAsset(name, contentType string, parts ...[]byte) {
	var body []byte
	for _, p := range parts {
		body = append(body, p...)
	}
	sum := sha256.Sum256(body)
	ext := path.Ext(name)
	p := AssetPrefix + strings.TrimSuffix(name, ext) + "-" + hex.EncodeToString(sum[:8]) + ext
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, err := z.Write(body)
	if err = errors.Join(err, z.Close()); err != nil {
		panic("pages: " + err.Error()) // memory takes whatever is written
	}
	assetsByPath[p] = asset{contentType: contentType, body: body, packed: packed.Bytes()}
	assetPaths[name] = p
}

// readAsset returns an embedded file. The names are literals of this file, so
// a missing one is a fault of the build that every test would hit.
func readAsset(name string) []byte {
	b, err := assetFiles.ReadFile("assets/" + name)
	if err != nil {
		panic("pages: " + err.Error())
	}
	return b
}

// Publish adds files to what Assets serves, under paths that
// carry their hash, and is called once for each package of pages, from a variable
// or init of it. A file that cannot be read or a name that is taken is a fault of
// the build and panics.
func Publish(files fs.FS, names ...string) {
	for _, name := range names {
		b, err := fs.ReadFile(files, name)
		if err != nil {
			panic("pages: publish: " + err.Error())
		}
		base := path.Base(name)
		if AssetPath(base) != "" {
			panic("pages: publish: two files are called " + base)
		}
		addAsset(base, contentTypes[path.Ext(base)], b)
	}
}

// contentTypes are those of files that may be published.
var contentTypes = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
	".png": "image/png", ".webmanifest": "application/manifest+json",
}

// Shared is a copy of the templates that every page uses, with their functions,
// for a package of pages to add its own: "open" and "close" are the frame of
// pages for people who are signed in and take a Frame, "start-private" opens the
// document of a page behind a secret address, "field" takes a Field, "summary" a
// []FieldError, "cautions" a []Caution, "safety" nothing.
func Shared() *template.Template { return template.Must(templates.Clone()) }

// AssetPath returns the path at which the asset called name is served, such as
// "/assets/page-0123456789abcdef.css" for "page.css". The path changes with
// the content. It is "" for a name that does not exist.
func AssetPath(name string) string { return assetPaths[name] }

// Assets serves style sheet, script and icon below AssetPrefix. Since a path
// changes with its content, browsers may keep what they got for a year. Any
// other path is 404, any method but GET and HEAD is 405.
func Assets() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a, ok := assetsByPath[r.URL.Path]
		if !ok {
			http.NotFound(w, r)
			return
		}
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "only GET and HEAD", http.StatusMethodNotAllowed)
			return
		}
		h := w.Header()
		h.Set("Content-Type", a.contentType)
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Vary", "Accept-Encoding")
		body := a.body
		if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
			h.Set("Content-Encoding", "gzip")
			body = a.packed
		}
		if r.Method == http.MethodGet {
			_, _ = w.Write(body) // a client that has gone away needs no answer
		}
	})
}
