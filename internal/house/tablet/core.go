package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/andybalholm/brotli"
)

// buildCore compiles the core, and packs it unless dist has the same one packed.
func (b *builder) buildCore() error {
	dir, err := os.MkdirTemp("", "needlebook-core")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	out := filepath.Join(dir, "core.wasm")
	// -l leaves functions uncalled-in-place: the tablet downloads a fifth less, and reckons a little slower.
	command := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-buildmode=c-shared", "-gcflags=all=-l", "-ldflags=-s -w", "-o", out,
		"./cmd/needlebook-wasm")
	command.Dir = b.root
	command.Env = append(os.Environ(), "GOOS=wasip1", "GOARCH=wasm", "CGO_ENABLED=0")
	if text, err := command.CombinedOutput(); err != nil {
		return fmt.Errorf("build the core: %w\n%s", err, text)
	}
	raw, err := os.ReadFile(out)
	if err != nil {
		return err
	}
	b.core = b.assetOf("core", ".wasm", raw)
	name := fileOf(b.core) + packedSuffix
	if have, err := os.ReadFile(filepath.Join(b.dist, name)); err == nil && !b.quick {
		if same, err := unpack(have); err == nil && bytes.Equal(same, raw) {
			b.files[name] = have
			return nil
		}
	}
	b.files[name], err = b.pack(raw)
	return err
}

// keepCore takes the core that is in dist.
func (b *builder) keepCore() error {
	found, err := filepath.Glob(filepath.Join(b.dist, "core-*.wasm"+packedSuffix))
	if err != nil || len(found) != 1 {
		return fmt.Errorf("want one core in %s, found %d: build without -screens", b.dist, len(found))
	}
	packed, err := os.ReadFile(found[0])
	if err != nil {
		return err
	}
	raw, err := unpack(packed)
	if err != nil {
		return fmt.Errorf("%s: %w", found[0], err)
	}
	b.core = b.assetOf("core", ".wasm", raw)
	b.files[fileOf(b.core)+packedSuffix] = packed
	return nil
}

// packedSuffix marks a file that stands in dist packed by brotli alone.
const packedSuffix = ".br"

// pack packs a file so that unpacking it is all that a browser needs; it takes half a minute.
func (b *builder) pack(raw []byte) ([]byte, error) {
	options := brotli.WriterOptions{Quality: brotli.BestCompression, LGWin: 24}
	if b.quick {
		options.Quality = 4
	}
	var out bytes.Buffer
	w := brotli.NewWriterOptions(&out, options)
	if _, err := w.Write(raw); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func unpack(packed []byte) ([]byte, error) {
	return io.ReadAll(brotli.NewReader(bytes.NewReader(packed)))
}

// assetOf names a file by its content.
func (b *builder) assetOf(name, suffix string, content []byte) asset {
	sum := sha256.Sum256(content)
	text := hex.EncodeToString(sum[:])
	return asset{address: "/app/" + name + "-" + text[:16] + suffix, sha256: text}
}

// fileOf is an asset's name in dist.
func fileOf(a asset) string { return strings.TrimPrefix(a.address, "/app/") }

// put makes a file of dist that is served as it is.
func (b *builder) put(name, suffix string, content []byte) asset {
	a := b.assetOf(name, suffix, content)
	b.files[fileOf(a)] = content
	return a
}
