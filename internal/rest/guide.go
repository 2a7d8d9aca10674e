package rest

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// guide is the document as the page shows it.
type guide struct {
	About    string
	Services []service
	Schemas  []schemaRow
}

type service struct {
	Name, About string
	Calls       []call
}

type call struct {
	Verb, Path, Name, About, Action string
	Public                          bool
	Parameters                      []fieldRow
	Asks, Answers                   string // names of schemas
}

type schemaRow struct {
	Name, About string
	Values      []string // of an enum
	Fields      []fieldRow
}

type fieldRow struct {
	Name, Type, Link, Bounds, About string
	Required                        bool
}

// schema is what the page reads of a schema of the document.
type schema struct {
	Type, Format, Description, Pattern string
	Ref                                string `json:"$ref"`
	ContentEncoding                    string
	Enum, Required                     []string
	Items                              *schema
	Properties                         ordered
	MinLength, MaxLength               *uint64
	MinItems, MaxItems                 *uint64
	Minimum, Maximum                   *json.Number
	XMinimum                           string `json:"x-minimum"`
	XMaximum                           string `json:"x-maximum"`
}

// ordered are the members of an object in the order of the document, which is that of the schema.
type ordered []property

type property struct {
	name   string
	schema schema
}

// UnmarshalJSON implements json.Unmarshaler.
func (o *ordered) UnmarshalJSON(b []byte) error {
	var all map[string]json.RawMessage
	if err := json.Unmarshal(b, &all); err != nil {
		return err
	}
	d := json.NewDecoder(strings.NewReader(string(b)))
	if _, err := d.Token(); err != nil {
		return err
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return err
		}
		p := property{name: fmt.Sprint(name)}
		if err := d.Decode(&p.schema); err != nil {
			return err
		}
		*o = append(*o, p)
	}
	return nil
}

// openDocument is what the page reads of the document.
type openDocument struct {
	Info struct{ Description string }
	Tags []struct{ Name, Description string }
	// Paths are by path, then by verb.
	Paths      map[string]map[string]operation
	Components struct{ Schemas map[string]schema }
}

type operation struct {
	OperationID, Description string
	Tags                     []string
	Action                   string `json:"x-action"`
	Security                 *[]any // not nil and empty for everyone
	Parameters               []struct {
		Name, Description string
		Schema            schema
	}
	RequestBody content
	Responses   map[string]content
}

type content struct {
	Content map[string]struct{ Schema schema }
}

func (c content) name() string { return refName(c.Content["application/json"].Schema.Ref) }

func refName(ref string) string { return strings.TrimPrefix(ref, "#/components/schemas/") }

// guideOf reads the document. It is made by our own generator, so one that cannot be read is a defect.
func guideOf(document []byte) guide {
	var d openDocument
	if err := json.Unmarshal(document, &d); err != nil {
		panic(fmt.Sprintf("the description of the interface: %v", err))
	}
	g := guide{About: d.Info.Description}
	for _, tag := range d.Tags {
		g.Services = append(g.Services, service{Name: tag.Name, About: tag.Description, Calls: callsOf(d, tag.Name)})
	}
	for name, s := range d.Components.Schemas {
		about, values, _ := strings.Cut(s.Description, "\n- ")
		row := schemaRow{Name: name, About: about, Fields: fieldRows(s)}
		if len(s.Enum) > 0 {
			row.Values = strings.Split(values, "\n- ")
		}
		g.Schemas = append(g.Schemas, row)
	}
	slices.SortFunc(g.Schemas, func(a, b schemaRow) int { return strings.Compare(a.Name, b.Name) })
	return g
}

func callsOf(d openDocument, tag string) (calls []call) {
	for path, verbs := range d.Paths {
		for verb, o := range verbs {
			if !slices.Contains(o.Tags, tag) {
				continue
			}
			c := call{
				Verb: strings.ToUpper(verb), Path: path, Name: o.OperationID, About: o.Description, Action: o.Action, Public: o.Security != nil,
				Asks: o.RequestBody.name(), Answers: o.Responses["200"].name(),
			}
			for _, p := range o.Parameters {
				row := fieldRowOf(p.Name, p.Schema)
				row.About = p.Description
				c.Parameters = append(c.Parameters, row)
			}
			calls = append(calls, c)
		}
	}
	slices.SortFunc(calls, func(a, b call) int { return strings.Compare(a.Path, b.Path) })
	return calls
}

func fieldRows(s schema) (rows []fieldRow) {
	for _, p := range s.Properties {
		row := fieldRowOf(p.name, p.schema)
		row.Required = slices.Contains(s.Required, p.name)
		rows = append(rows, row)
	}
	return rows
}

func fieldRowOf(name string, s schema) fieldRow {
	row := fieldRow{Name: name, About: s.Description}
	of, list := s, ""
	if s.Items != nil {
		of, list = *s.Items, "list of "
	}
	switch {
	case of.Ref != "":
		row.Link = refName(of.Ref)
		row.Type = list + row.Link
	case of.ContentEncoding != "":
		row.Type = list + of.ContentEncoding
	case of.Format != "":
		row.Type = list + of.Format
	default:
		row.Type = list + of.Type
	}
	row.Bounds = boundsOf(s, of)
	return row
}

// boundsOf are the bounds of a value and of a list of it, in words.
func boundsOf(s, of schema) string {
	var words []string
	span := func(what string, least, most any, hasLeast, hasMost bool) {
		switch {
		case hasLeast && hasMost:
			words = append(words, fmt.Sprintf("%v to %v%s", least, most, what))
		case hasMost:
			words = append(words, fmt.Sprintf("at most %v%s", most, what))
		case hasLeast:
			words = append(words, fmt.Sprintf("at least %v%s", least, what))
		}
	}
	span(" items", value(s.MinItems), value(s.MaxItems), s.MinItems != nil, s.MaxItems != nil)
	span(" characters", value(of.MinLength), value(of.MaxLength), of.MinLength != nil, of.MaxLength != nil)
	span("", value(of.Minimum), value(of.Maximum), of.Minimum != nil, of.Maximum != nil)
	span("", of.XMinimum, of.XMaximum, of.XMinimum != "", of.XMaximum != "")
	if of.Pattern != "" {
		words = append(words, of.Pattern)
	}
	return strings.Join(words, "; ")
}

func value[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}
