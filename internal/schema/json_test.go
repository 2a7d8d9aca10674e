package schema_test

import (
	"encoding/json"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// The JSON that outsiders were promised for PlanDraw, request and answer. An answer holds at least these fields.
const (
	planDrawRequest = `{"product": "onabotulinumtoxinA",
 "vial": {"content_units": "100", "diluent_ml": "2.5"},
 "syringe": {"capacity_ml": "1", "graduation_ml": "0.01"},
 "doses": [{"ref": "1", "dose_units": "4", "side": "SIDE_RIGHT"}, {"ref": "2", "dose_units": "4", "side": "SIDE_LEFT"}]}`
	planDrawResponse = `{"concentration": {"units_per_ml": "40", "units_per_tenth_ml": "4"},
 "total": {"dose_units": "8", "volume_ml": "0.2"},
 "syringes": [{"drawn_ml": "0.2", "marks": [
   {"ref": "1", "exact_ml": "0.1", "mark_ml": "0.1", "delivered_ml": "0.1", "delivered_units": "4", "error_units": "0", "error_percent": "0"},
   {"ref": "2", "exact_ml": "0.1", "mark_ml": "0", "delivered_ml": "0.1", "delivered_units": "4", "error_units": "0", "error_percent": "0"}]}],
 "findings": []}`
	finding  = `{"code": "X", "level": "LEVEL_HOLD", "about": ["1"], "text": "t", "figures": {"dose_units": "4"}, "source": {}}`
	fraction = `{"exact_ml": "0.0583", "exact_ml_fraction": "7/120"}`
)

func TestPlanDraw_HasThePromisedJSON(t *testing.T) {
	for _, row := range []struct {
		name, promised string
		message        proto.Message
	}{
		{"request", planDrawRequest, &dosev1.PlanDrawRequest{}},
		{"response", planDrawResponse, &dosev1.PlanDrawResponse{}},
		{"finding", finding, &dosev1.Finding{}},
		{"fraction", fraction, &dosev1.Mark{}},
	} {
		t.Run(row.name, func(t *testing.T) {
			if err := protojson.Unmarshal([]byte(row.promised), row.message); err != nil {
				t.Fatal(err)
			}
			written, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(row.message)
			if err != nil {
				t.Fatal(err)
			}
			var want, got any
			if err := json.Unmarshal([]byte(row.promised), &want); err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(written, &got); err != nil {
				t.Fatal(err)
			}
			if missing := lacks(want, got, ""); missing != "" {
				t.Errorf("%s is not as promised in %s", missing, written)
			}
		})
	}
}

// lacks names the first place where got does not hold what want holds; got may hold more fields.
func lacks(want, got any, at string) string {
	switch want := want.(type) {
	case map[string]any:
		fields, ok := got.(map[string]any)
		if !ok {
			return at
		}
		for name, value := range want {
			if missing := lacks(value, fields[name], at+"."+name); missing != "" {
				return missing
			}
		}
		return ""
	case []any:
		items, ok := got.([]any)
		if !ok || len(items) != len(want) {
			return at
		}
		for i := range want {
			if missing := lacks(want[i], items[i], at+"[]"); missing != "" {
				return missing
			}
		}
		return ""
	}
	if want != got {
		return at
	}
	return ""
}
