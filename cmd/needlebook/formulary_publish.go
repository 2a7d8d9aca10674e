package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/durable"
	"needlebook/internal/formulary"
)

const formularyPublishHelp = `
Checks a clinic's own edition, names its base by version and hash, reckons its
hash, and writes VERSION.json, which is never changed: a version that is there
with other content is refused. Nothing is sent anywhere.

  needlebook formulary publish -out editions harbour
  needlebook formulary publish -out editions -json harbour |
    needlebook replica put formulary_edition --dir room1

With -json it prints the record that goes into a server's records through a
replica, in place of the name, the version and the hash.`

func runFormularyPublish(_ context.Context, e env, args []string) error {
	flags := newFlags("formulary publish")
	base := flags.String("base", "", "`file` of the edition that it derives from")
	out := flags.String("out", ".", "`folder` of published editions")
	by := flags.String("by", "", "staff `id` of who publishes, kept in the file with the time")
	asJSON := flags.Bool("json", false, "print the record as JSON, as replica put formulary_edition takes it")
	names, err := parseFlagsAnd(flags, args)
	if err != nil {
		return err
	}
	if len(names) != 1 {
		return usagef("%s: read %d arguments, want one edition", flags.Name(), len(names))
	}
	if _, err := uuid.Parse(*by); *by != "" && err != nil {
		return usagef("-by: read %q, want a staff id", *by)
	}
	clinic, err := readClinicEdition(names[0], *base)
	if err != nil {
		return asUsage(e, err)
	}
	document, edition, err := publishable(e, clinic, *by)
	if err != nil {
		return err
	}
	path := filepath.Join(*out, edition.Version()+".json")
	if document, err = writeOnce(path, document, edition); err != nil {
		return err
	}
	if *asJSON {
		return printRecord(e.stdout, document)
	}
	return printPublished(e.stdout, document, edition, path)
}

// fileName is what a version must be, since it names the file.
var fileName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$`)

// publishable makes the document of an edition that has no blocking problem, each of which it prints otherwise.
func publishable(e env, c clinicEdition, by string) (*formularyv1.FormularyEdition, *formulary.Edition, error) {
	problems, err := c.problems()
	if err != nil {
		return nil, nil, err
	}
	if version := c.derived.GetVersion(); version != "" && !fileName.MatchString(version) {
		problems = append(problems, formulary.Problem{List: "version", Blocks: true,
			Text: fmt.Sprintf("read %q, want at most 40 letters, digits, points, dashes and underscores", version)})
	}
	if c.derived.GetPublished() != nil {
		problems = append(problems, formulary.Problem{List: "published", Blocks: true,
			Text: "is a published edition; a draft has neither a publication nor an id, and names that edition as its base"})
	}
	for _, p := range problems {
		if p.Blocks {
			fmt.Fprintf(e.stderr, "needlebook: %s\n", printable(p.String()))
		}
	}
	if err := blocked(problems); err != nil {
		return nil, nil, err
	}
	document := proto.CloneOf(c.derived)
	document.Base, document.Published = c.base.Reference(), nil
	if document.GetId() == "" {
		id, err := uuid.NewRandom()
		if err != nil {
			return nil, nil, fmt.Errorf("make an id: %w", err)
		}
		document.Id = id.String()
	}
	edition, err := formulary.Derive(c.base, document)
	if err != nil {
		return nil, nil, err
	}
	sum := edition.Sum()
	document.Published = &formularyv1.Publication{Hash: sum[:]}
	if by != "" {
		document.Published.Published = &recordv1.Act{By: by, At: timestamppb.New(e.now())}
	}
	return document, edition, nil
}

// writeOnce writes the document unless its version is there. With the same content, base and entries it returns what is there; with another it refuses.
func writeOnce(path string, document *formularyv1.FormularyEdition, edition *formulary.Edition) (*formularyv1.FormularyEdition, error) {
	data, err := editionJSONOf(document)
	if err != nil {
		return nil, err
	}
	if err := durable.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, fmt.Errorf("make the folder: %w", err)
	}
	err = publishFile(path, data)
	if !errors.Is(err, fs.ErrExist) {
		return document, err
	}
	there, err := readEditionFile(path)
	if err != nil {
		return nil, fmt.Errorf("%s is there and cannot be read: %w", path, err)
	}
	if !sameDocument(there, document) {
		return nil, fmt.Errorf("%s is published with other content (SHA-256 %x; this is %s): give the edition a new version", path,
			there.GetPublished().GetHash(), edition.Hash())
	}
	return there, nil
}

// sameDocument reports whether two documents say the same but for the record's id, and for who published it and when.
func sameDocument(a, b *formularyv1.FormularyEdition) bool {
	a, b = proto.CloneOf(a), proto.CloneOf(b)
	a.Id, b.Id = "", ""
	a.Published, b.Published = &formularyv1.Publication{Hash: a.GetPublished().GetHash()}, &formularyv1.Publication{Hash: b.GetPublished().GetHash()}
	return proto.Equal(a, b)
}

// publishFile puts data at path, read-only, unless something is there.
func publishFile(path string, data []byte) error {
	temp, err := os.CreateTemp(filepath.Dir(path), ".edition-*")
	if err != nil {
		return fmt.Errorf("write the edition: %w", err)
	}
	_, err = temp.Write(data)
	if err == nil {
		err = temp.Chmod(0o444)
	}
	if err == nil {
		err = temp.Sync()
	}
	if err = errors.Join(err, temp.Close()); err != nil {
		return fmt.Errorf("write the edition: %w", errors.Join(err, os.Remove(temp.Name())))
	}
	return durable.Publish(temp.Name(), path)
}

// editionJSONOf writes an edition as JSON with the schema's names: what is set, and nothing else.
func editionJSONOf(m *formularyv1.FormularyEdition) ([]byte, error) {
	raw, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("write JSON: %w", err)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, raw, "", "  "); err != nil { // protojson varies its white space on purpose
		return nil, fmt.Errorf("write JSON: %w", err)
	}
	out.WriteByte('\n')
	return out.Bytes(), nil
}

// printRecord prints what a replica takes: the document without the publication, which is the server's to set.
func printRecord(w io.Writer, document *formularyv1.FormularyEdition) error {
	record := proto.CloneOf(document)
	record.Published = nil
	data, err := editionJSONOf(record)
	if err != nil {
		return err
	}
	_, err = w.Write(data)
	return err
}

func printPublished(w io.Writer, document *formularyv1.FormularyEdition, edition *formulary.Edition, path string) error {
	var p page
	p.row("edition", document.GetLabel())
	p.row("version", edition.Version())
	p.row("hash", edition.Hash())
	p.row("derives from", fmt.Sprintf("%s, %x", document.GetBase().GetVersion(), document.GetBase().GetHash()[:6]))
	p.row("file", path)
	return p.write(w)
}
