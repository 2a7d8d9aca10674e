package anatomy_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"needlebook/internal/anatomy"
)

const docs = "../../docs/anatomy.md"

// The tables of docs/anatomy.md are written from the code with -anatomy.update, each between <!-- name --> and <!-- end -->.
func TestDocsHaveTheTables(t *testing.T) {
	text, err := os.ReadFile(docs)
	if err != nil {
		t.Fatal(err)
	}
	want := string(text)
	for name, table := range map[string]string{"muscles": muscleTable(), "areas": areaTable(), "neighbours": neighbourTable(),
		"landmarks": landmarkTable(),
		"measures":  measureTable(), "zones": zoneTable()} {
		start, end := "<!-- "+name+" -->\n", "<!-- end -->"
		before, rest, found := strings.Cut(want, start)
		_, after, closed := strings.Cut(rest, end)
		if !found || !closed {
			t.Fatalf("no table %s", name)
		}
		want = before + start + "\n" + table + "\n" + end + after
	}
	if *updateVectors {
		if err := os.WriteFile(docs, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if want != string(text) {
		t.Error("docs/anatomy.md is not what the code has: run the tests with -anatomy.update and read the difference")
	}
}

func lines(head string, rows func(add func(cells ...any))) string {
	var b strings.Builder
	b.WriteString(head + "\n" + strings.Repeat("| --- ", strings.Count(head, "|")-1) + "|\n")
	rows(func(cells ...any) {
		for _, c := range cells {
			fmt.Fprintf(&b, "| %v ", c)
		}
		b.WriteString("|\n")
	})
	return b.String()
}

func code(s string) string { return "`" + s + "`" }

func standing(p anatomy.Provenance) string {
	return strings.TrimSpace(p.Obtained.Text() + " " + strings.Join(p.Sources, ", "))
}

func muscleTable() string {
	return lines("| code | nature | region | frame | what it does | treated |", func(add func(...any)) {
		for _, m := range anatomy.Muscles() {
			treated := "no, a neighbour"
			if m.Target {
				treated = "yes"
			}
			if len(m.Parts) > 0 {
				treated += ": " + strings.Join(m.Parts, ", ")
			}
			add(code(m.Code), m.Nature, m.Region.Name(), m.Frame, m.Action, treated)
		}
	})
}

func areaTable() string {
	return lines("| code | region | muscles | part |", func(add func(...any)) {
		for _, a := range anatomy.Areas() {
			add(code(a.Code), a.Region.Name(), strings.Join(a.Muscles, ", "), a.Part)
		}
	})
}

func neighbourTable() string {
	return lines("| treated | weakened | what is seen | standing | remark |", func(add func(...any)) {
		for _, n := range anatomy.Neighbours() {
			add(code(n.Muscle), code(n.Weakened), n.Effect, standing(n.Provenance), n.Provenance.Remark)
		}
	})
}

func landmarkTable() string {
	kinds := map[anatomy.Kind]string{anatomy.KindPoint: "point", anatomy.KindLevel: "level", anatomy.KindUpright: "upright line",
		anatomy.KindPath: "path"}
	return lines("| frame | landmark | shape | on the model, mm (out, up) | standing | remark |", func(add func(...any)) {
		for _, f := range anatomy.Frames() {
			for _, l := range f.Landmarks {
				standing, remark := "the frame's own", l.Remark
				if l.Obtained != "" {
					standing = l.Obtained.Text()
				}
				where := where(l)
				if l.Needs != "" {
					where, remark = "none: needs "+code(l.Needs), strings.TrimPrefix(remark+"; ", "; ")+"nowhere until measured"
				}
				add(f.Code, code(l.Code), kinds[l.Kind], where, standing, remark)
			}
		}
	})
}

// where writes the numbers that count of a landmark; of a path its ends.
func where(l anatomy.Landmark) string {
	first, last := l.Points[0], l.Points[len(l.Points)-1]
	switch l.Kind {
	case anatomy.KindLevel:
		return "up " + first.Up.Decimal()
	case anatomy.KindUpright:
		return "out " + first.Lateral.Decimal()
	case anatomy.KindPath:
		return fmt.Sprintf("(%s, %s) to (%s, %s)", first.Lateral.Decimal(), first.Up.Decimal(), last.Lateral.Decimal(), last.Up.Decimal())
	}
	return fmt.Sprintf("(%s, %s)", first.Lateral.Decimal(), first.Up.Decimal())
}

func measureTable() string {
	return lines("| frame | measure | scales | default, mm | default from | measured |", func(add func(...any)) {
		for _, f := range anatomy.Frames() {
			for _, m := range f.Measures {
				from := "the mesh"
				if m.Obtained == anatomy.Memory {
					from = "memory"
				}
				scales := m.Axis.String()
				if m.Own {
					scales += ", of the landmarks that need it alone"
				}
				add(f.Code, code(m.Code), scales, m.Default.Decimal(), from, m.Between)
			}
		}
	})
}

func zoneTable() string {
	bound := func(b anatomy.Bound) string {
		if b.Set {
			return b.Distance.Decimal()
		}
		return ""
	}
	return lines("| zone | for | frame, landmark | distance | least, mm | most, mm | asks | offered | market | standing | remark |",
		func(add func(...any)) {
			for _, z := range anatomy.Zones() {
				add(code(z.Code), code(z.Target), string(z.Frame)+", "+code(z.Landmark), z.Direction, bound(z.Least), bound(z.Most), z.Sense(),
					z.Offered(), z.Market,
					standing(z.Provenance), z.Provenance.Remark)
			}
		})
}
