// Package tablet holds the tablet client: the TypeScript sources in src, what they build to in dist, and the handler that serves that. dist is committed and
// made by "go run ./internal/house/tablet"; running and testing the server need Go alone.
//
// Use: Handler answers the client's addresses and hands every other request on.
//
// What it promises: files whose address holds their hash may be kept for ever; the page, the manifest and the service worker are asked for anew each time,
// so that a new binary is a new version and never a mix of two. The page may run its own scripts and WebAssembly and nothing else, and may talk to its own
// server alone. No answer depends on who asks.
package tablet

import (
	"bytes"
	"compress/gzip"
	"embed"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"

	"github.com/andybalholm/brotli"
)

//go:embed dist
var dist embed.FS

// packed marks a file that stands in dist packed by brotli alone.
const packed = ".br"

// policy is what the page may do. Styles are its own file; Preact sets what is measured through the object model, which needs no exception.
const policy = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; connect-src 'self'; style-src 'self'; img-src 'self' blob: data:; " +
	"media-src 'self' blob:; font-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; " +
	"require-trusted-types-for 'script'; trusted-types needlebook"

const (
	keepForEver = "public, max-age=31536000, immutable"
	askAgain    = "no-cache"
)

// file is one file of the client, in the forms that it is sent in.
type file struct {
	kind, cache string
	tag         string // an entity tag
	raw         func() ([]byte, error)
	brotli      []byte // nil when it is not kept so
	gzip        func() ([]byte, error)
}

// Handler answers GET and HEAD of the client's addresses, and hands on everything else.
func Handler(next http.Handler) (http.Handler, error) {
	files, err := read()
	if err != nil {
		return nil, err
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		f := files[r.URL.Path]
		if f == nil || r.Method != http.MethodGet && r.Method != http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		f.serve(w, r)
	}), nil
}

// read makes the files of dist ready, by their addresses.
func read() (map[string]*file, error) {
	files := map[string]*file{}
	err := fs.WalkDir(dist, "dist", func(at string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := dist.ReadFile(at)
		if err != nil {
			return err
		}
		name := path.Base(at)
		files[addressOf(strings.TrimSuffix(name, packed))] = newFile(name, content)
		return nil
	})
	if err == nil && files["/"] == nil {
		err = fmt.Errorf("read the tablet client: %w", fs.ErrNotExist)
	}
	return files, err
}

// addressOf is where a file of dist is served. Names without a hash are those that a version is found by.
func addressOf(name string) string {
	switch {
	case name == "index.html":
		return "/"
	case !strings.Contains(name, "-"):
		return "/" + name
	}
	return "/app/" + name
}

func newFile(name string, content []byte) *file {
	bare := strings.TrimSuffix(name, packed)
	f := &file{kind: kindOf(path.Ext(bare)), cache: keepForEver, tag: strconv.Quote(bare), raw: func() ([]byte, error) { return content, nil }}
	if !strings.Contains(bare, "-") {
		f.cache, f.tag = askAgain, ""
	}
	if bare != name {
		f.brotli = content
		f.raw = sync.OnceValues(func() ([]byte, error) { return io.ReadAll(brotli.NewReader(bytes.NewReader(content))) })
	}
	raw := f.raw
	f.gzip = sync.OnceValues(func() ([]byte, error) { return pack(raw) })
	return f
}

func pack(raw func() ([]byte, error)) ([]byte, error) {
	content, err := raw()
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	w := gzip.NewWriter(&out)
	_, _ = w.Write(content) // a buffer takes everything
	err = w.Close()
	return out.Bytes(), err
}

func kindOf(suffix string) string {
	switch suffix {
	case ".html":
		return "text/html; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".json":
		return "application/json"
	case ".webmanifest":
		return "application/manifest+json"
	case ".wasm":
		return "application/wasm"
	case ".svg":
		return "image/svg+xml"
	}
	return "application/octet-stream"
}

// leastPacked is the size from which packing saves more than it costs.
const leastPacked = 1 << 10

func (f *file) serve(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Cache-Control", f.cache)
	h.Set("Content-Security-Policy", policy)
	h.Set("Permissions-Policy", "camera=(self), microphone=(), geolocation=()")
	h.Set("Vary", "Accept-Encoding")
	body, encoding, err := f.form(r.Header.Get("Accept-Encoding"))
	if err != nil {
		http.Error(w, "the tablet client cannot be read", http.StatusInternalServerError)
		return
	}
	if encoding != "" {
		h.Set("Content-Encoding", encoding)
	}
	if f.tag != "" {
		h.Set("ETag", f.tag)
		if r.Header.Get("If-None-Match") == f.tag {
			w.WriteHeader(http.StatusNotModified)
			return
		}
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if r.Method == http.MethodGet {
		_, _ = w.Write(body) // the client may be gone
	}
}

// form is the file in the best form that the client takes.
func (f *file) form(accepts string) (body []byte, encoding string, err error) {
	if f.brotli != nil && takes(accepts, "br") {
		return f.brotli, "br", nil
	}
	raw, err := f.raw()
	if err == nil && len(raw) >= leastPacked && takes(accepts, "gzip") {
		body, err = f.gzip()
		return body, "gzip", err
	}
	return raw, "", err
}

// takes reports whether a header names an encoding and does not refuse it.
func takes(accepts, encoding string) bool {
	for part := range strings.SplitSeq(accepts, ",") {
		name, quality, _ := strings.Cut(strings.TrimSpace(part), ";")
		if name == encoding {
			return strings.TrimSpace(quality) != "q=0"
		}
	}
	return false
}
