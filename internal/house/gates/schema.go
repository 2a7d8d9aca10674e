package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// released holds one image of the schema for each release, made by `buf build -o`. They are never edited: every release that a tablet may still run
// must be understood.
const released = "testdata/schema"

// waiver is the trailer of a commit message with which a break is agreed to. It covers the working history, not a release.
const waiver = "Schema-Break:"

// breaking compares the schema with every release, and with the state that a push would replace.
func breaking(c *checkout) error {
	images, err := filepath.Glob(filepath.Join(c.root, released, "*.binpb"))
	if err != nil {
		return err
	}
	var errs []error
	for _, image := range images {
		errs = append(errs, c.do(nil, c.bin("buf"), "breaking", "--against", image))
	}
	base, err := c.schemaBase()
	if err != nil {
		if len(images) > 0 {
			return errors.Join(errs...)
		}
		return err
	}
	broken := c.do(nil, c.bin("buf"), "breaking", "--against", ".git#ref="+base)
	reason, err := c.waived(base)
	switch {
	case err != nil:
		errs = append(errs, err)
	case broken != nil && reason != "":
		fmt.Fprintf(c.out, "     the schema breaks with %.12s, agreed to: %s\n", base, reason)
	case broken != nil:
		errs = append(errs, fmt.Errorf("against %.12s (a commit may agree to it with a trailer %q):\n%w", base, waiver, broken))
	}
	return errors.Join(errs...)
}

// schemaBase returns the commit to compare with: the one asked for, else where this history left origin/main, else the parent of the last commit that
// changed the schema. The last is for a clone of what was pushed, where origin/main is the push itself; it sees the newest change to the schema,
// however many commits follow it.
func (c *checkout) schemaBase() (string, error) {
	if c.base != "" {
		out, err := c.output(nil, "git", "rev-parse", "--verify", "--end-of-options", c.base+"^{commit}")
		return strings.TrimSpace(out), err
	}
	head, err := c.output(nil, "git", "rev-parse", "--verify", "HEAD")
	if err != nil {
		return "", skip("nothing to compare the schema with: no commit here")
	}
	if fork, err := c.output(nil, "git", "merge-base", "origin/main", "HEAD"); err == nil && fork != head {
		return strings.TrimSpace(fork), nil
	}
	changed, err := c.output(nil, "git", "rev-list", "-1", "HEAD", "--", "proto/needlebook", "buf.yaml")
	if err != nil {
		return "", err
	}
	parent, err := c.output(nil, "git", "rev-parse", "--verify", "--end-of-options", strings.TrimSpace(changed)+"^")
	if err != nil {
		return "", skip("nothing to compare the schema with: it has no earlier state in this clone")
	}
	return strings.TrimSpace(parent), nil
}

// waived returns the reason in the trailer of a commit after base, or nothing.
func (c *checkout) waived(base string) (string, error) {
	messages, err := c.output(nil, "git", "log", "--format=%B", base+"..HEAD")
	if err != nil {
		return "", err
	}
	for line := range strings.Lines(messages) {
		if reason, ok := strings.CutPrefix(line, waiver); ok && strings.TrimSpace(reason) != "" {
			return strings.TrimSpace(reason), nil
		}
	}
	return "", nil
}

// generated runs the generators into a folder of its own and compares it with gen/.
func generated(c *checkout) error {
	dir, err := os.MkdirTemp("", "needlebook-gen-")
	if err != nil {
		return fmt.Errorf("make a folder to generate into: %w", err)
	}
	defer os.RemoveAll(dir)
	if err := c.do(nil, c.bin("buf"), "generate", "-o", dir); err != nil {
		return err
	}
	return sameTrees(filepath.Join(dir, "gen"), filepath.Join(c.root, "gen"))
}

// sameTrees names each file that is not the same in both folders.
func sameTrees(want, have string) error {
	wanted, err := readTree(want)
	if err != nil {
		return err
	}
	got, err := readTree(have)
	if err != nil {
		return err
	}
	var differ []string
	for path, text := range wanted {
		if other, ok := got[path]; !ok || !bytes.Equal(text, other) {
			differ = append(differ, path)
		}
		delete(got, path)
	}
	for path := range got {
		differ = append(differ, path+" (nothing generates it)")
	}
	if len(differ) == 0 {
		return nil
	}
	slices.Sort(differ)
	return fmt.Errorf("run .bin/buf generate; these differ:\n%s", strings.Join(differ, "\n"))
}

func readTree(dir string) (map[string][]byte, error) {
	files := map[string][]byte{}
	tree := os.DirFS(dir)
	err := fs.WalkDir(tree, ".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		files[path], err = fs.ReadFile(tree, path)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the tree %s: %w", dir, err)
	}
	return files, nil
}
