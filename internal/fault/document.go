package fault

import (
	"fmt"
	"strings"
)

// Document returns docs/errors.md: the catalogue for people, in Markdown.
func Document() string {
	var b strings.Builder
	b.WriteString(`# Errors

Written from the catalogue in internal/fault by ` + "`go generate ./internal/fault`" + `; change it there.

Every refusal carries one of these reasons, in Connect and gRPC as the ` + "`reason`" + ` of a google.rpc.ErrorInfo, by REST as that of a problem (rest.md), and
names the field and what was read where there is one. Branch on the reason, never on the text. "Again" tells whether the same request, unchanged, may succeed later. No error holds patient data, passwords, codes or
tokens; of these it tells only the length. What was read is shown with at most
` + fmt.Sprint(MaxShownRunes) + ` characters, control characters escaped.

| reason | code | again |
| --- | --- | --- |
`)
	for _, e := range Entries() {
		fmt.Fprintf(&b, "| [%s](#%s) | %s | %s |\n", Name(e.Reason), strings.ToLower(Name(e.Reason)), e.Class, yesNo(e.Retry))
	}
	for _, e := range Entries() {
		fmt.Fprintf(&b, "\n## %s\n\n%s\n\n- Cause: %s\n- Fix: %s\n- Who acts: %s.\n", Name(e.Reason), e.Meaning, e.Cause, e.Fix, e.Acts)
	}
	return b.String()
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
