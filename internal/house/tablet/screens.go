package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/evanw/esbuild/pkg/api"
)

// Places that the script's own build puts in where they are not known before it is made.
const versionMark = "needlebook-version"

// buildScreens bundles the page's script and style, and the script of the worker that derives keys.
func (b *builder) buildScreens() error {
	derive, err := b.bundle("derive.worker.ts", nil)
	if err != nil {
		return err
	}
	worker := b.put("derive", ".js", derive[".js"])
	built, err := json.Marshal(map[string]string{"version": versionMark, "core": b.core.address, "derive": worker.address})
	if err != nil {
		return err
	}
	page, err := b.bundle("main.tsx", map[string]string{"BUILT": string(built)})
	if err != nil {
		return err
	}
	b.style = b.put("app", ".css", page[".css"])
	// The version is a hash over everything that the screens are made of, themselves included, so it stands in the script that it names.
	sum := sha256.New()
	for _, part := range [][]byte{page[".js"], page[".css"], derive[".js"], []byte(b.core.sha256)} {
		fmt.Fprintf(sum, "%d\n", len(part))
		sum.Write(part)
	}
	b.version = hex.EncodeToString(sum.Sum(nil))[:16]
	b.script = b.put("app", ".js", bytes.ReplaceAll(page[".js"], []byte(versionMark), []byte(b.version)))
	return nil
}

// bundle bundles one entry, and gives what came of it by suffix.
func (b *builder) bundle(entry string, define map[string]string) (map[string][]byte, error) {
	source, err := filepath.Abs(filepath.Join(b.root, "internal", "tablet"))
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(filepath.Join(source, "node_modules", "preact")); err != nil {
		return nil, errors.New("internal/tablet/node_modules is not there: npm ci --prefix internal/tablet")
	}
	made := api.Build(api.BuildOptions{
		AbsWorkingDir: source, EntryPoints: []string{"src/" + entry}, Outdir: "out", Bundle: true, Write: false, Format: api.FormatESModule,
		Target: api.ES2022, MinifyWhitespace: true, MinifyIdentifiers: true, MinifySyntax: true, Charset: api.CharsetUTF8, LegalComments: api.LegalCommentsNone,
		Define: define, JSX: api.JSXAutomatic, JSXImportSource: "preact", TreeShaking: api.TreeShakingTrue, LogLevel: api.LogLevelSilent,
	})
	if len(made.Errors) > 0 {
		return nil, fmt.Errorf("%s", strings.Join(api.FormatMessages(made.Errors, api.FormatMessagesOptions{}), ""))
	}
	out := map[string][]byte{".js": {}, ".css": {}}
	for _, f := range made.OutputFiles {
		out[filepath.Ext(f.Path)] = f.Contents
	}
	return out, nil
}

// buildPage writes the page, whose files have their addresses, and the manifest that makes it installable.
func (b *builder) buildPage() error {
	page, err := os.ReadFile(filepath.Join(b.root, "internal", "tablet", "src", "index.html"))
	if err != nil {
		return err
	}
	text := strings.NewReplacer("{{style}}", b.style.address, "{{script}}", b.script.address, "{{icon}}", b.icon.address).Replace(string(page))
	b.files["index.html"] = []byte(text)
	install, err := json.MarshalIndent(map[string]any{
		"name": "Needlebook", "short_name": "Needlebook", "start_url": "/", "scope": "/", "display": "standalone", "background_color": "#fbfaf6",
		"theme_color": "#fbfaf6", "description": "A record and dose calculator for clinicians who treat faces with botulinum toxin type A.",
		"icons": []map[string]string{
			{"src": b.icon.address, "sizes": "any", "type": "image/svg+xml", "purpose": "any"},
			{"src": b.icon.address, "sizes": "any", "type": "image/svg+xml", "purpose": "maskable"},
		},
	}, "", "  ")
	b.files["app.webmanifest"] = append(install, '\n')
	return err
}

// buildIcons takes the icon.
func (b *builder) buildIcons() error {
	icon, err := os.ReadFile(filepath.Join(b.root, "internal", "tablet", "src", "icon.svg"))
	b.icon = b.put("icon", ".svg", icon)
	return err
}

// buildWorker bundles the service worker, and writes the manifest of this version: every file with its hash, the page's own copy among them.
func (b *builder) buildWorker() error {
	worker, err := b.bundle("sw.ts", nil)
	if err != nil {
		return err
	}
	page := b.put("index", ".html", b.files["index.html"])
	files := map[string]string{b.core.address: b.core.sha256}
	for _, name := range slices.Sorted(maps.Keys(b.files)) {
		if a := "/app/" + name; strings.Contains(name, "-") && !strings.HasSuffix(name, packedSuffix) {
			sum := sha256.Sum256(b.files[name])
			files[a] = hex.EncodeToString(sum[:])
		}
	}
	b.files["sw.js"] = worker[".js"]
	manifest, err := json.MarshalIndent(map[string]any{"version": b.version, "page": page.address, "files": files}, "", "  ")
	b.files["app.json"] = append(manifest, '\n')
	return err
}

// compare fails when dist is not what was built.
func (b *builder) compare() error {
	entries, err := os.ReadDir(b.dist)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if _, ok := b.files[e.Name()]; !ok {
			return fmt.Errorf("%s is left over: %w", e.Name(), errStale)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(b.files)) {
		have, err := os.ReadFile(filepath.Join(b.dist, name))
		if err != nil || !bytes.Equal(have, b.files[name]) {
			return fmt.Errorf("%s differs: %w", name, errStale)
		}
	}
	return nil
}

// write puts the files into dist and removes what is left over there.
func (b *builder) write() error {
	if err := os.MkdirAll(b.dist, 0o755); err != nil {
		return err
	}
	entries, err := os.ReadDir(b.dist)
	if err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(b.files)) {
		if err := os.WriteFile(filepath.Join(b.dist, name), b.files[name], 0o644); err != nil {
			return err
		}
	}
	for _, e := range entries {
		if _, ok := b.files[e.Name()]; !ok {
			if err := os.Remove(filepath.Join(b.dist, e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}
