package service

import (
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"testing"

	"google.golang.org/protobuf/proto"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/internal/reckon"
)

// vector is a request and the answer that every device gives, as testdata/reckon has them.
type vector struct {
	Request  json.RawMessage `json:"request"`
	Response json.RawMessage `json:"answer"`
}

// TestDosing_AnswersAsEveryDeviceDoes holds the service to the vectors of the command line and the tablet.
func TestDosing_AnswersAsEveryDeviceDoes(t *testing.T) {
	d := newDosing(nil)
	for _, c := range []struct {
		file    string
		request proto.Message
		call    func(proto.Message) (proto.Message, error)
	}{
		{"prepare_labelled", &dosev1.PrepareRequest{}, func(m proto.Message) (proto.Message, error) {
			return d.Prepare(t.Context(), m.(*dosev1.PrepareRequest))
		}},
		{"draw_two_syringes", &dosev1.PlanDrawRequest{}, func(m proto.Message) (proto.Message, error) {
			return d.PlanDraw(t.Context(), m.(*dosev1.PlanDrawRequest))
		}},
		{"advise_lip", &dosev1.AdviseDilutionRequest{}, func(m proto.Message) (proto.Message, error) {
			return d.AdviseDilution(t.Context(), m.(*dosev1.AdviseDilutionRequest))
		}},
		{"compare_abo_ona", &dosev1.CompareProductsRequest{}, func(m proto.Message) (proto.Message, error) {
			return d.CompareProducts(t.Context(), m.(*dosev1.CompareProductsRequest))
		}},
		{"history_no_window", &dosev1.GetToxinHistoryRequest{}, func(m proto.Message) (proto.Message, error) {
			return d.GetToxinHistory(t.Context(), m.(*dosev1.GetToxinHistoryRequest))
		}},
		{"asymmetry_review", &dosev1.GetAsymmetryRequest{}, func(m proto.Message) (proto.Message, error) {
			return d.GetAsymmetry(t.Context(), m.(*dosev1.GetAsymmetryRequest))
		}},
	} {
		t.Run(c.file, func(t *testing.T) {
			v := readVector(t, c.file)
			if err := reckon.UnmarshalJSON(v.Request, c.request); err != nil {
				t.Fatal(err)
			}
			answer, err := c.call(c.request)
			if err != nil {
				t.Fatal(err)
			}
			got, err := reckon.MarshalJSON(answer)
			if err != nil {
				t.Fatal(err)
			}
			if !sameJSON(t, got, v.Response) {
				t.Errorf("answers\n%s\nwant\n%s", got, v.Response)
			}
		})
	}
}

func readVector(t *testing.T, name string) vector {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "reckon", "vectors", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var v vector
	if err := json.Unmarshal(b, &v); err != nil || len(v.Request) == 0 || len(v.Response) == 0 {
		t.Fatalf("%s: %v", name, err)
	}
	return v
}

func sameJSON(t *testing.T, a, b []byte) bool {
	t.Helper()
	var x, y any
	if err := json.Unmarshal(a, &x); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &y); err != nil {
		t.Fatal(err)
	}
	return reflect.DeepEqual(x, y)
}
