package schema_test

import (
	"errors"
	"strings"
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// Each row is a request that just passes or just does not; the field named is the one that refuses.
func TestRequests_AreHeldToTheirAnnotations(t *testing.T) {
	const id = `"0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a001"`
	mask := func(path string) string {
		return `{"request_id": ` + id + `, "record": {"session": {"id": ` + id + `}}, "update_mask": ["` + path + `"]}`
	}
	claim := func(password string) string {
		return `{"request_id": ` + id + `, "token": "t", "sign_in_name": "ana", "password": "` + password + `"}`
	}
	element := "injections[" + strings.Trim(id, `"`) + "]"
	edit, search := &chartv1.EditRecordRequest{}, &chartv1.SearchPatientsRequest{}
	for _, row := range []struct {
		name    string
		message proto.Message
		json    string
		refused string // "" when it passes, "." when the whole message is refused
	}{
		{"plan draw", &dosev1.PlanDrawRequest{}, planDrawRequest, ""},
		{"side unspecified", &dosev1.PlanDrawRequest{}, strings.Replace(planDrawRequest, "SIDE_LEFT", "SIDE_UNSPECIFIED", 1), "doses[1].side"},
		{"no product", &dosev1.PlanDrawRequest{}, strings.Replace(planDrawRequest, "onabotulinumtoxinA", "", 1), "product"},
		{"register", edit, mask("order_id"), ""},
		{"register of an element", edit, mask(element + ".planned"), ""},
		{"whole element", edit, mask(element), ""},
		{"element in an element", edit, mask(element + ".givings[" + strings.Trim(id, `"`) + "].given"), ""},
		{"collection without an element", edit, mask("injections[]"), "update_mask[0]"},
		{"path with a space", edit, mask("order_id "), "update_mask[0]"},
		{"id in capitals", edit, mask(strings.ToUpper(element)), "update_mask[0]"},
		{"search for everybody", search, `{}`, "."},
		{"search by text", search, `{"text": "ka"}`, ""},
		{"same product twice", &dosev1.CompareProductsRequest{}, `{"product": "onabotulinumtoxinA", "other_product": "onabotulinumtoxinA"}`, "."},
		{"short password", &accessv1.ClaimInvitationRequest{}, claim("12345678901234"), "password"},
		{"password just long enough", &accessv1.ClaimInvitationRequest{}, claim("123456789012345"), ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			message := row.message.ProtoReflect().New().Interface()
			if err := protojson.Unmarshal([]byte(row.json), message); err != nil {
				t.Fatal(err)
			}
			if err := protovalidate.Validate(message); refusedField(err) != row.refused {
				t.Errorf("refused %q, want %q: %v", refusedField(err), row.refused, err)
			}
		})
	}
}

// refusedField is the field of the first violation, "." for the whole message, empty when nothing is refused.
func refusedField(err error) string {
	violations, ok := errors.AsType[*protovalidate.ValidationError](err)
	switch {
	case err == nil:
		return ""
	case !ok:
		return "not checked"
	case violations.Violations[0].Proto.GetField() == nil:
		return "."
	}
	return protovalidate.FieldPathString(violations.Violations[0].Proto.GetField())
}
