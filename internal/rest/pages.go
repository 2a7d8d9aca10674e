package rest

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"strings"
	"sync"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/gen/openapi"
	"needlebook/internal/fault"
)

// Paths of what is shown to developers of clients. None of it is about a patient or an organisation: it is the same on every server.
const (
	DocumentPath = "/openapi.json"
	DocsPath     = "/docs"
	ErrorsPath   = "/docs/errors"
	stylePath    = "/docs/page.css"
	scriptPath   = "/docs/page.js"
)

// pagePolicy lets the pages load their own style and script, and nothing else from anywhere.
const pagePolicy = "default-src 'none'; style-src 'self'; script-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

//go:embed page.html errors.html page.css page.js
var files embed.FS

// Document is the OpenAPI 3.1 document of the whole interface, JSON.
func Document() []byte { return []byte(openapi.Document()) }

// Pages answers the paths above; every other path is a Problem. The pages are made when they are first asked for.
func Pages() http.Handler {
	pages := map[string]func() (mediaType string, body []byte){
		DocumentPath: func() (string, []byte) { return "application/json", Document() },
		DocsPath:     page("page.html", func() any { return guideOf(Document()) }),
		ErrorsPath:   page("errors.html", func() any { return faults() }),
		stylePath:    file("page.css", "text/css; charset=utf-8"),
		scriptPath:   file("page.js", "text/javascript; charset=utf-8"),
	}
	for path, make := range pages {
		pages[path] = sync.OnceValues(make)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		make, ok := pages[strings.TrimSuffix(r.URL.Path, "/")]
		switch {
		case !ok:
			Refuse(w, http.StatusNotFound, fault.New(faultv1.Reason_REASON_NOT_FOUND, "", "", ""))
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			w.Header().Set("Allow", "GET, HEAD")
			Refuse(w, http.StatusMethodNotAllowed, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "method", r.Method, "GET or HEAD"))
		default:
			mediaType, body := make()
			w.Header().Set("Content-Type", mediaType)
			w.Header().Set("Content-Security-Policy", pagePolicy)
			_, _ = w.Write(body) // the reader may be gone
		}
	})
}

func file(name, mediaType string) func() (string, []byte) {
	return func() (string, []byte) {
		b, err := files.ReadFile(name)
		if err != nil {
			panic(fmt.Sprintf("embedded %s: %v", name, err))
		}
		return mediaType, b
	}
}

// page fills in a template that is embedded, with what is embedded or in the catalogue: it fails the same on every machine or on none.
func page(name string, of func() any) func() (string, []byte) {
	return func() (string, []byte) {
		var b bytes.Buffer
		if err := template.Must(template.ParseFS(files, name)).Execute(&b, of()); err != nil {
			panic(fmt.Sprintf("page %s: %v", name, err))
		}
		return "text/html; charset=utf-8", b.Bytes()
	}
}

// faultRow is a reason as the page of errors shows it.
type faultRow struct {
	fault.Entry
	Name string
}

func faults() (rows []faultRow) {
	for _, e := range fault.Entries() {
		rows = append(rows, faultRow{Entry: e, Name: fault.Name(e.Reason)})
	}
	return rows
}
