package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"

	"needlebook/internal/formulary"
)

const formularyDiffHelp = `
Prints the figures that differ from edition A to edition B, one a line: what it
was and what it is, and behind each entry who set it and why, when that is
given. An edition is a file, a folder of tables, or "builtin".

  needlebook formulary diff builtin harbour-1.json
  needlebook formulary diff harbour-1.json harbour-2

Exit code 0 also when they differ.`

func runFormularyDiff(_ context.Context, e env, args []string) error {
	flags := newFlags("formulary diff")
	asJSON := flags.Bool("json", false, "print the differences as JSON")
	names, err := parseFlagsAnd(flags, args)
	if err != nil {
		return err
	}
	if len(names) != 2 {
		return usagef("%s: read %d arguments, want two editions", flags.Name(), len(names))
	}
	was, err := readEdition(names[0], "")
	if err != nil {
		return asUsage(e, err)
	}
	is, err := readEdition(names[1], "")
	if err != nil {
		return asUsage(e, err)
	}
	if *asJSON {
		return printDiffJSON(e.stdout, was, is)
	}
	return printDiff(e.stdout, was, is)
}

// changeJSON is one figure that differs, as the canonical content writes it.
type changeJSON struct {
	Section string       `json:"section"`
	Entry   string       `json:"entry"`
	Field   string       `json:"field"`
	Was     *string      `json:"was,omitempty"`
	Is      *string      `json:"is,omitempty"`
	How     string       `json:"how,omitempty"`
	Why     string       `json:"why,omitempty"`
	Removed *removedJSON `json:"removed,omitempty"`
}

type removedJSON struct {
	Reason string `json:"reason"`
	By     string `json:"by"`
	At     string `json:"at"`
}

type editionJSON struct {
	Version string `json:"version"`
	Hash    string `json:"hash"`
}

func printDiffJSON(w io.Writer, was, is *formulary.Edition) error {
	changes := []changeJSON{}
	for _, c := range formulary.Diff(was, is) {
		j := changeJSON{Section: c.List, Entry: c.Key, Field: c.Field, Was: c.Was, Is: c.Is, Why: c.Why.GetRemark()}
		if c.Why != nil {
			j.How = formulary.ObtainedText(c.Why.GetObtained())
		}
		if c.Removal != nil {
			j.Removed = &removedJSON{c.Removal.Reason, c.Removal.By, c.Removal.At}
		}
		changes = append(changes, j)
	}
	data, err := json.MarshalIndent(struct {
		Was     editionJSON  `json:"was"`
		Is      editionJSON  `json:"is"`
		Changes []changeJSON `json:"changes"`
	}{editionJSON{was.Version(), was.Hash()}, editionJSON{is.Version(), is.Hash()}, changes}, "", "  ")
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", data)
	return err
}

func printDiff(w io.Writer, was, is *formulary.Edition) error {
	var p page
	p.wrapped("", "From "+was.Version()+" to "+is.Version())
	changes := formulary.Diff(was, is)
	for i, c := range changes {
		if i == 0 || changes[i-1].List != c.List || changes[i-1].Key != c.Key {
			p.line("")
			p.wrapped("", c.List+" "+c.Key)
		}
		if c.Field != "code" { // which is the entry's name, and stands above
			name, before, after := c.Figure()
			p.broken("  ", "      ", shortWords(name+": "+wasText(c.Was, before)+" -> "+wasText(c.Is, after)))
		}
		if i+1 == len(changes) || changes[i+1].List != c.List || changes[i+1].Key != c.Key {
			p.why(c)
		}
	}
	if len(changes) == 0 {
		p.line("No figure differs.")
	}
	p.editionFoot(is)
	return p.write(w)
}

func wasText(value *string, text string) string {
	if value == nil {
		return "nothing"
	}
	return text
}

// why prints who set an entry and why.
func (p *page) why(c formulary.Change) {
	switch {
	case c.Removal != nil:
		p.broken("  removed: ", "      ", shortWords(c.Removal.Reason)+"; by "+c.Removal.By+" at "+c.Removal.At)
	case c.Why != nil:
		p.broken("  why: ", "      ", shortWords(howText(c.Why)))
	}
}
