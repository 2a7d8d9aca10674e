package tabletcore

import (
	"encoding/json"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// shownFault is a refusal as JSON.
type shownFault struct {
	Reason string            `json:"reason"`
	Field  string            `json:"field"`
	Text   string            `json:"text"`
	Fix    string            `json:"fix"`
	Retry  bool              `json:"retry"`
	Meta   map[string]string `json:"meta,omitempty"`
}

// refusal is the answer to a call that was refused. An error without a reason is a defect or a broken store: its text is for whoever mends it, and none of
// our packages puts patient data into one.
func refusal(err error) []byte {
	var out struct {
		Faults []shownFault `json:"faults"`
	}
	for _, f := range fault.All(err) {
		out.Faults = append(out.Faults, show(f))
	}
	if len(out.Faults) == 0 {
		f := show(fault.New(faultv1.Reason_REASON_INTERNAL, "", "", ""))
		f.Text = fault.Show(err.Error())
		out.Faults = append(out.Faults, f)
	}
	raw, err := json.Marshal(out)
	if err != nil { // strings alone cannot fail
		raw = []byte(`{"faults":[{"reason":"REASON_INTERNAL","field":"","text":"","fix":""}]}`)
	}
	return AppendFrame(nil, raw)
}

func show(f *fault.Error) shownFault {
	out := shownFault{Reason: f.Reason.String(), Field: f.Field, Text: f.Error(), Meta: f.Meta}
	if e, ok := fault.Lookup(f.Reason); ok {
		out.Fix, out.Retry = e.Fix, e.Retry
	}
	return out
}
