package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"needlebook/internal/formulary"
	"needlebook/internal/reckon"
)

const formularyShowHelp = `
Prints the edition that is shipped, or a clinic's: every figure with how it was
come by, the publication it was read in, and what nobody published. A section is
one of the edition's lists, such as zones or dose_ranges.

  needlebook formulary show -section zones
  needlebook formulary show -edition harbour-1.json -section limits
  needlebook formulary show -section dilutions -json

A clinic's edition is a file that publish wrote, or a draft: a file of JSON or a
folder of tables.`

func runFormularyShow(_ context.Context, e env, args []string) error {
	flags := newFlags("formulary show")
	section := flags.String("section", "", "one `list` of the edition; all of them without it")
	file := flags.String("edition", builtinName, "`file` or folder of a clinic's edition")
	base := flags.String("base", "", "`file` of the edition that it derives from")
	asJSON := flags.Bool("json", false, "print the edition as JSON, with the names of the schema")
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	if *section != "" && !slices.Contains(formulary.Sections(), *section) {
		return usagef("-section: read %q, want one of %s", *section, strings.Join(formulary.Sections(), ", "))
	}
	edition, err := readEdition(*file, *base)
	if err != nil {
		return asUsage(e, err)
	}
	if *asJSON {
		return printEditionJSON(e.stdout, edition, *section)
	}
	return printEdition(e.stdout, edition, *section)
}

// printEditionJSON prints the edition with its base laid in, or one list of it.
func printEditionJSON(w io.Writer, edition *formulary.Edition, section string) error {
	m := edition.Message()
	if section != "" {
		keepSection(m.ProtoReflect(), protoreflect.Name(section))
	}
	data, err := reckon.MarshalJSON(m)
	if err != nil {
		return err
	}
	answer, err := json.MarshalIndent(struct {
		Version string          `json:"version"`
		Hash    string          `json:"hash"`
		Edition json.RawMessage `json:"edition"`
	}{edition.Version(), edition.Hash(), data}, "", "  ")
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", answer)
	return err
}

func keepSection(m protoreflect.Message, section protoreflect.Name) {
	m.Range(func(field protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		if field.IsList() && field.Name() != section {
			m.Clear(field)
		}
		return true
	})
}

// printEdition prints for people.
func printEdition(w io.Writer, edition *formulary.Edition, section string) error {
	var p page
	label := edition.Message().GetLabel()
	p.wrapped("", label+", version "+edition.Version())
	if b := edition.Message().GetBase(); b != nil {
		p.wrapped("", fmt.Sprintf("derives from %s, SHA-256 %x", b.GetVersion(), b.GetHash()[:min(6, len(b.GetHash()))]))
	}
	blanks := map[string][]string{}
	for _, blank := range edition.Blanks() {
		blanks[blank.List] = append(blanks[blank.List], blank.About)
	}
	for _, name := range formulary.Sections() {
		if section == "" || section == name {
			p.section(name, edition, blanks[name])
		}
	}
	p.editionFoot(edition)
	return p.write(w)
}

func (p *page) section(name string, edition *formulary.Edition, blanks []string) {
	entries := edition.Entries(name)
	p.line("")
	p.line(upperFirst(strings.ReplaceAll(name, "_", " ")))
	for _, entry := range entries {
		p.line("  " + printable(entry.Key))
		var figures []string
		for _, f := range entry.Figures {
			figures = append(figures, f.Name+" "+shortWords(f.Text))
		}
		if len(figures) > 0 {
			p.broken("    ", "    ", strings.Join(figures, ", "))
		}
		if entry.Provenance != nil {
			p.broken("    [", "     ", shortWords(howText(entry.Provenance))+"]")
		}
	}
	for _, about := range blanks {
		p.broken("  - ", "    ", about+": "+formulary.NoFigure)
	}
	if len(entries) == 0 && len(blanks) == 0 {
		p.line("  nothing: " + formulary.NoFigure)
	}
}

// shortWords keeps a figure of a few words together.
func shortWords(text string) string {
	const mostTogether = 24
	if len(text) <= mostTogether {
		return strings.ReplaceAll(text, " ", "\u00a0")
	}
	return text
}
