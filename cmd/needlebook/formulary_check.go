package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/formulary"
	"needlebook/internal/guard"
)

const formularyCheckHelp = `
Names every problem of a clinic's own edition: fields out of their bounds, codes
that no anatomy knows, figures without a source or without how they were come
by, holds and cautions that rest on memory or on a trade page, zones that
contradict each other. FILE is a file of JSON or a folder of tables, as
docs/formulary.md says.

  needlebook formulary check harbour
  needlebook formulary check -base harbour-1.json harbour-2

Exit code 1 says that it cannot be published as it is, 2 that it cannot be read.
What is only worth a look leaves the exit code 0.`

func runFormularyCheck(_ context.Context, e env, args []string) error {
	flags := newFlags("formulary check")
	base := flags.String("base", "", "`file` of the edition that it derives from")
	asJSON := flags.Bool("json", false, "print the problems as JSON")
	names, err := parseFlagsAnd(flags, args)
	if err != nil {
		return err
	}
	if len(names) != 1 {
		return usagef("%s: read %d arguments, want one edition", flags.Name(), len(names))
	}
	clinic, err := readClinicEdition(names[0], *base)
	if err != nil {
		return asUsage(e, err)
	}
	problems, err := clinic.problems()
	if err != nil {
		return err
	}
	if *asJSON {
		err = printProblemsJSON(e.stdout, problems)
	} else {
		err = printProblems(e.stdout, clinic, problems)
	}
	if err != nil {
		return err
	}
	return blocked(problems)
}

// blocked is the error of an edition that cannot be published as it is.
func blocked(problems []formulary.Problem) error {
	n := 0
	for _, p := range problems {
		if p.Blocks {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	return fmt.Errorf("the edition cannot be published as it is: %s", problemCount(n))
}

func problemCount(n int) string {
	if n == 1 {
		return "1 problem"
	}
	return fmt.Sprintf("%d problems", n)
}

// problems are those of the schema's bounds, of the edition as a whole, and of the codes that guardrails have.
func (c clinicEdition) problems() ([]formulary.Problem, error) {
	outside, err := outOfBounds(c.derived)
	if err != nil {
		return nil, err
	}
	problems := append(outside, formulary.Check(c.base, c.derived)...)
	problems = append(problems, liftProblems(c.derived)...)
	sections := formulary.Sections()
	slices.SortStableFunc(problems, func(a, b formulary.Problem) int {
		if i, j := slices.Index(sections, a.List), slices.Index(sections, b.List); i != j {
			return i - j
		}
		return strings.Compare(a.Key, b.Key)
	})
	return problems, nil
}

// liftProblems names rules for holds that no guardrail raises, and those that would lift what nobody may.
func liftProblems(derived *formularyv1.FormularyEdition) []formulary.Problem {
	var problems []formulary.Problem
	for _, entry := range derived.GetLiftRules() {
		v := entry.GetValue()
		if v == nil || entry.GetRemoved() != nil {
			continue
		}
		rule, ok := guard.RuleOf(v.GetCode())
		switch {
		case !ok:
			problems = append(problems, formulary.Problem{List: "lift_rules", Key: v.GetCode(), Field: "code", Blocks: true,
				Text: "is no code of docs/guardrails.md"})
		case rule.Lift.Never && len(v.GetRoles()) > 0:
			problems = append(problems, formulary.Problem{List: "lift_rules", Key: v.GetCode(), Field: "roles", Blocks: true,
				Text: "would let somebody lift what nobody ever may"})
		case v.GetLevel() > rule.Lowest():
			problems = append(problems, formulary.Problem{List: "lift_rules", Key: v.GetCode(), Field: "level", Blocks: true,
				Text: "is a " + levelWord(v.GetLevel()) + ", and at the weakest it may be a " + levelWord(rule.Lowest())})
		case v.GetLevel() == formularyv1.Level_LEVEL_HOLD && rule.Level != v.GetLevel() && len(v.GetRoles()) == 0:
			problems = append(problems, formulary.Problem{List: "lift_rules", Key: v.GetCode(), Field: "roles",
				Text: "makes it a hold that nobody may lift, since it names no role"})
		}
	}
	return problems
}

func levelWord(l formularyv1.Level) string {
	return strings.ToLower(strings.TrimPrefix(l.String(), "LEVEL_"))
}

// outOfBounds holds each part of the edition against the bounds of the schema and names each that is outside. The record's own id comes with publishing.
func outOfBounds(derived *formularyv1.FormularyEdition) ([]formulary.Problem, error) {
	validator, err := protovalidate.New()
	if err != nil {
		return nil, err
	}
	var problems []formulary.Problem
	err = validator.Validate(derived)
	var invalid *protovalidate.ValidationError
	if err != nil && !errors.As(err, &invalid) {
		return nil, fmt.Errorf("check the schema's bounds: %w", err)
	}
	if invalid == nil {
		return nil, nil
	}
	for _, v := range invalid.Violations {
		path := protovalidate.FieldPathString(v.Proto.GetField())
		if path == "id" || strings.HasPrefix(path, "published") {
			continue
		}
		problem := problemAt(derived.ProtoReflect(), path)
		problem.Text, problem.Blocks = v.Proto.GetMessage(), true
		if v.FieldValue.IsValid() && v.FieldDescriptor != nil && v.FieldDescriptor.Message() == nil {
			problem.Text = fmt.Sprintf("read %q: %s", fmt.Sprint(v.FieldValue.Interface()), problem.Text)
		}
		problems = append(problems, problem)
	}
	return problems, nil
}

// problemAt turns a path such as zones[3].value.least_micrometers into the entry and its field.
func problemAt(edition protoreflect.Message, path string) formulary.Problem {
	list, rest, inEntry := strings.Cut(path, "[")
	field := edition.Descriptor().Fields().ByName(protoreflect.Name(list))
	var index int
	if _, err := fmt.Sscanf(rest, "%d]", &index); !inEntry || err != nil || field == nil || !field.IsList() || index >= edition.Get(field).List().Len() {
		return formulary.Problem{List: path}
	}
	_, inner, _ := strings.Cut(rest, "]")
	inner = strings.TrimPrefix(strings.TrimPrefix(inner, "."), "value.")
	return formulary.Problem{List: list, Key: keyAt(edition.Get(field).List().Get(index).Message(), index), Field: inner}
}

func keyAt(entry protoreflect.Message, index int) string {
	value := entry.Get(entry.Descriptor().Fields().ByName("value")).Message()
	for _, name := range []protoreflect.Name{"code", "name"} {
		if field := value.Descriptor().Fields().ByName(name); field != nil && value.Get(field).String() != "" {
			return value.Get(field).String()
		}
	}
	return fmt.Sprintf("[%d]", index)
}

func printProblems(w io.Writer, c clinicEdition, problems []formulary.Problem) error {
	var p page
	p.wrapped("", cmp.Or(c.derived.GetLabel(), "(no label)")+", version "+cmp.Or(c.derived.GetVersion(), "(none)")+", over "+c.base.Version())
	for _, wanted := range []struct {
		blocks bool
		head   string
	}{{true, "To be mended before it is published"}, {false, "Worth a look"}} {
		found := slices.DeleteFunc(slices.Clone(problems), func(q formulary.Problem) bool { return q.Blocks != wanted.blocks })
		if len(found) == 0 {
			continue
		}
		p.line("")
		p.line(wanted.head)
		for _, q := range found {
			p.broken("  ", "      ", shortWords(q.String()))
		}
	}
	if len(problems) == 0 {
		p.line("")
		p.line("No problem was found.")
	}
	return p.write(w)
}

type problemJSON struct {
	Section string `json:"section"`
	Entry   string `json:"entry,omitempty"`
	Field   string `json:"field,omitempty"`
	Text    string `json:"text"`
	Blocks  bool   `json:"blocks"`
}

func printProblemsJSON(w io.Writer, problems []formulary.Problem) error {
	list := []problemJSON{}
	for _, p := range problems {
		list = append(list, problemJSON{p.List, p.Key, p.Field, p.Text, p.Blocks})
	}
	data, err := json.MarshalIndent(struct {
		Problems []problemJSON `json:"problems"`
	}{list}, "", "  ")
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", data)
	return err
}
