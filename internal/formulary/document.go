package formulary

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Document is docs/sources.md: every figure of an edition with where it comes from, and every publication. It ends with a line feed.
func (e *Edition) Document() string {
	var b strings.Builder
	fmt.Fprintf(&b, `# Figures and their sources

The figures of the formulary's edition %s (SHA-256 %s), written from its tables by
`+"`go test ./internal/formulary -update`"+`. The licensed prescriber decides; local rules and the label in force come first.

How each figure was come by: **read** in the source's own page; **read in a copy** or a secondary account; **read on a trade page** or one of low trust;
**from memory**, not seen; **common practice, no source**; **computed** from figures that were read; **set by the medical lead**. No label was read from
end to end. A figure from memory or from a trade page makes at most a note, and permits nothing. Brand words in addresses are masked.

## Without a figure

Nobody published these, as far as was read. The medical lead sets them; until then an answer says so, and nothing is permitted by their absence.

| list | what |
| --- | --- |
`, e.Version(), e.Hash())
	for _, blank := range e.Blanks() {
		writeRow(&b, blank.List, blank.About)
	}
	e.eachList(func(table string, entries protoreflect.List) {
		if entries.Len() == 0 {
			return
		}
		fmt.Fprintf(&b, "\n## %s\n\n", strings.ToUpper(table[:1])+strings.ReplaceAll(table[1:], "_", " "))
		if table == "sources" {
			b.WriteString("| code | title | issuer | year | address | how |\n| --- | --- | --- | --- | --- | --- |\n")
			for _, s := range e.message.GetSources() {
				v := s.GetValue()
				writeRow(&b, v.GetCode(), v.GetTitle(), v.GetIssuer(), v.GetYear(), v.GetAddress(), ObtainedText(v.GetObtained()))
			}
			return
		}
		b.WriteString("| entry | figures | how | sources | section, remark |\n| --- | --- | --- | --- | --- |\n")
		for i := range entries.Len() {
			value := valueOf(entries.Get(i).Message())
			writeRow(&b, append([]string{keyOf(value), figuresText(value)}, provenanceTexts(value)...)...)
		}
	})
	return b.String()
}

func writeRow(b *strings.Builder, cells ...string) {
	for _, cell := range cells {
		b.WriteString("| " + strings.ReplaceAll(cell, "|", "/") + " ")
	}
	b.WriteString("|\n")
}

// figuresText is an entry's fields in words, in people's units, without its key and its provenance.
func figuresText(value protoreflect.Message) string {
	var parts []string
	for _, line := range appendLines(nil, "", value) {
		name, text, _ := strings.Cut(line, "=")
		if name == "code" || name == "name" || strings.HasPrefix(name, "provenance.") {
			continue
		}
		parts = append(parts, peopleName(name)+" "+peopleValue(name, text))
	}
	return strings.Join(parts, ", ")
}

func provenanceTexts(value protoreflect.Message) []string {
	p, ok := value.Get(value.Descriptor().Fields().ByName("provenance")).Message().Interface().(*formularyv1.Provenance)
	if !ok {
		return nil
	}
	remark := p.GetSection()
	if remark != "" && p.GetRemark() != "" {
		remark += "; "
	}
	return []string{ObtainedText(p.GetObtained()), strings.Join(p.GetSources(), ", "), remark + p.GetRemark()}
}

// unitSuffixes are the endings of stored names, what people are shown in their place, and with how many decimals.
func unitSuffixes() []struct {
	stored, people string
	decimals       int
} {
	return []struct {
		stored, people string
		decimals       int
	}{{"_milliunits", " in units", 3}, {"_nanoliters", " in mL", 6}, {"_micrometers", " in mm", 3}, {"_millicelsius", " in degrees C", 3}, {"_thousandths", "", 3}}
}

func peopleName(name string) string {
	for _, unit := range unitSuffixes() {
		name = strings.Replace(name, unit.stored, unit.people, 1)
	}
	return strings.NewReplacer("_", " ", ".", " ").Replace(name)
}

func peopleValue(name, text string) string {
	for _, unit := range unitSuffixes() {
		if strings.HasSuffix(name, unit.stored) {
			return pointed(text, unit.decimals)
		}
	}
	for _, prefix := range []string{"DILUTION_STANDING_", "DOSE_BASIS_", "LEVEL_", "CONTRAINDICATION_KIND_", "SCALE_DIRECTION_"} {
		if rest, ok := strings.CutPrefix(text, prefix); ok {
			return strings.ToLower(rest)
		}
	}
	return text
}

// pointed sets the decimal point into a whole number of a smaller unit, without trailing zeros.
func pointed(digits string, decimals int) string {
	sign := ""
	if rest, negative := strings.CutPrefix(digits, "-"); negative {
		sign, digits = "-", rest
	}
	digits = strings.Repeat("0", max(0, decimals+1-len(digits))) + digits
	whole, part := digits[:len(digits)-decimals], strings.TrimRight(digits[len(digits)-decimals:], "0")
	if part == "" {
		return sign + whole
	}
	return sign + whole + "." + part
}
