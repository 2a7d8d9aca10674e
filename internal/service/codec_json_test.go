package service

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
)

// TestCheckJSON_NamesFieldAndRead: a slip in each kind of field, with the field, what is shown of what was read, and what is wanted.
func TestCheckJSON_NamesFieldAndRead(t *testing.T) {
	for _, c := range []struct {
		m                           proto.Message
		json                        string
		field, read, want, withheld string
	}{
		{&chartv1.SearchPatientsRequest{}, `{"texxt": "Zora"}`, "texxt", "", "a field that SearchPatientsRequest has: text, born_on", "Zora"},
		{&chartv1.SearchPatientsRequest{}, `{"text": 5.25}`, "text", "a number, not shown", "text, at most 200 characters", "5.25"},
		{&chartv1.SearchPatientsRequest{}, `{"text": ["Zora"]}`, "text", "a list", "text", "Zora"},
		{&chartv1.SearchPatientsRequest{}, `{"text": "a", "text": "b"}`, "text", "twice", "once", ""},
		{&chartv1.SearchPatientsRequest{}, `{"page_size": 1e1}`, "page_size", "1e1", "a whole number from 0 to 200", ""},
		{&chartv1.SearchPatientsRequest{}, `{"page_size": "1e1"}`, "page_size", "1e1", "a whole number from 0 to 200", ""},
		{&chartv1.SearchPatientsRequest{}, `{"page_size": 1.0}`, "page_size", "1.0", "a whole number from 0 to 200", ""},
		{&chartv1.SearchPatientsRequest{}, `{"page_size": -1}`, "page_size", "-1", "a whole number from 0 to 200", ""},
		{&chartv1.SearchPatientsRequest{}, `{"page_size": 99999999999}`, "page_size", "99999999999", "a whole number from 0 to 200", ""},
		{&chartv1.SearchPatientsRequest{}, `{"page_size": "Zora"}`, "page_size", "4 characters, not shown", "a whole number", "Zora"},
		{&chartv1.SearchPatientsRequest{}, `{"page_size": true}`, "page_size", "true", "a whole number", ""},
		{&chartv1.SearchPatientsRequest{}, `{"born_on": "1980-02-29"}`, "born_on", "text", "an object, Date", "1980"},
		{&chartv1.SearchPatientsRequest{}, `{"born_on": {"year": 1.98e3}}`, "born_on.year", "a number, not shown", "a whole number from 1850 to 2200", "1.98"},
		{&chartv1.SearchPatientsRequest{}, `{"born_on": {"year": "1980-02"}}`, "born_on.year", "7 characters, not shown", "a whole number", "1980"},
		{&chartv1.SearchPatientsRequest{}, ``, "message", "nothing", "an object", ""},
		{&chartv1.SearchPatientsRequest{}, `{"text": "Zora"`, "message", "an end at byte", "the rest of the JSON", "Zora"},
		{&chartv1.SearchPatientsRequest{}, `{"text": Zora}`, "text", "no JSON at byte", "JSON (RFC 8259)", "Zora"},
		{&chartv1.SearchPatientsRequest{}, `{"text": "Zora",}`, "message", "no JSON at byte", "JSON (RFC 8259)", "Zora"},
		{&chartv1.SearchPatientsRequest{}, `{} {}`, "message", "more after its end", "one object", ""},
		{&chartv1.SearchPatientsRequest{}, `[]`, "message", "a list", "an object", ""},
		{&chartv1.SearchPatientsRequest{}, "{\"text\": \"\xff\"}", "message", "bytes that are no text", "UTF-8", ""},
		{&chartv1.EditRecordRequest{}, `{"update_mask": "name"}`, "update_mask", "name", "a list of 1 to 512, each a path such as", ""},
		{&chartv1.EditRecordRequest{}, `{"update_mask": ["name", null]}`, "update_mask[1]", "null", "a path such as", ""},
		{&chartv1.EditRecordRequest{}, `{"context": "!!"}`, "context", "2 characters, not shown", "bytes in base64", "!!"},
		{&chartv1.EditRecordRequest{}, `{"record": {"patient": {"name": {"full": 7}}}}`, "record.patient.name.full", "a number, not shown", "text", ""},
		{&chartv1.EditRecordRequest{}, `{"record": {"patient": {}, "session": {}}}`, "record.session", "beside patient", "one of the two", ""},
		{&accessv1.EnrolDeviceRequest{}, `{"kind": "DEVICE_KIND_PHONE"}`, "kind", "DEVICE_KIND_PHONE", "one of DEVICE_KIND_TABLET", ""},
		{&accessv1.EnrolDeviceRequest{}, `{"code": 12345678}`, "code", "a number, not shown", "text", "12345678"},
		{&accessv1.SignInRequest{}, `{"password": {"text": "my secret words"}}`, "password", "an object", "text", "secret"},
		{&accessv1.ListAuditRequest{}, `{"from": "yesterday"}`, "from", "9 characters, not shown", "a time such as", "yesterday"},
		{&accessv1.ListStaffRequest{}, `{"include_suspended": "yes"}`, "include_suspended", "3 characters, not shown", "true or false", "yes"},
		{&dosev1.PlanDrawRequest{}, `{"doses": [{}, {"dose_units": 4}]}`, "doses[1].dose_units", "4", `a decimal as text, such as "2.5"`, ""},
		{&dosev1.PlanDrawRequest{}, `{"doses": {"ref": "1"}}`, "doses", "an object", "a list", ""},
		{&dosev1.PlanDrawRequest{}, `{"doses": [{"side": "LEFT"}]}`, "doses[0].side", "LEFT", "one of SIDE_", ""},
		{&dosev1.PlanDrawRequest{}, `{"product": ["a"]}`, "product", "a list", "nonproprietary", ""},
		{&syncv1.ExchangeRequest{}, `{"head_counter": "1e3"}`, "head_counter", "1e3", "a whole number from 0 to", ""},
	} {
		e := fault.Of(checkJSON(c.m.ProtoReflect().Descriptor(), []byte(c.json)))
		if e == nil {
			t.Errorf("%s passes", c.json)
			continue
		}
		if e.Field != c.field || !strings.HasPrefix(e.Read, c.read) || (c.read == "") != (e.Read == "") || !strings.Contains(e.Want, c.want) {
			t.Errorf("%s: %s; want field %q, read %q, want %q", c.json, e, c.field, c.read, c.want)
		}
		if c.withheld != "" && strings.Contains(e.Error(), c.withheld) {
			t.Errorf("%s comes back: %s", c.withheld, e)
		}
	}
}

// TestCheckJSON_TakesWhatIsSent: what the codec itself writes, and what people type beside it.
func TestCheckJSON_TakesWhatIsSent(t *testing.T) {
	for _, text := range []string{
		`{"text": "Zora", "page_size": 20, "born_on": null}`, `{"page_size": "20", "pageToken": ""}`, `{ }`, "\n{\"born_on\": {\"year\": 1980}}\n",
		`{"text": "\u00e9\ud83d\ude00 1e3"}`,
	} {
		m := &chartv1.SearchPatientsRequest{}
		if err := (jsonCodec{newUnread()}).Unmarshal([]byte(text), m); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	}
	var codec jsonCodec
	for _, m := range []proto.Message{
		&syncv1.ExchangeRequest{Replica: make([]byte, 16), HeadCounter: 1 << 60}, &accessv1.EnrolDeviceRequest{Kind: accessv1.DeviceKind_DEVICE_KIND_TABLET, Proof: []byte{1}},
		&chartv1.EditRecordRequest{UpdateMask: []string{"name"}, Context: []byte{255, 254}},
	} {
		b, err := codec.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if err := checkJSON(m.ProtoReflect().Descriptor(), b); err != nil {
			t.Errorf("%s: %v", b, err)
		}
	}
}

// TestUnread_HandsTheErrorOn: the codec gives no error and an empty message, and the interceptor finds why, once.
func TestUnread_HandsTheErrorOn(t *testing.T) {
	u := newUnread()
	m := &chartv1.SearchPatientsRequest{Text: "before"}
	if err := (jsonCodec{u}).Unmarshal([]byte(`{"text": "Zora", "page_size": 1e1}`), m); err != nil || m.GetText() != "" {
		t.Errorf("%v %v", err, m)
	}
	if err := u.take(m); fault.Of(err) == nil || fault.Of(err).Field != "page_size" {
		t.Errorf("%v", err)
	}
	if err := u.take(m); err != nil || len(u.why) != 0 {
		t.Errorf("again %v, %d left", err, len(u.why))
	}
	for range mostUnread {
		u.put(&chartv1.SearchPatientsRequest{}, fault.New(1, "x", "", ""))
	}
	if err := (jsonCodec{u}).Unmarshal([]byte(`{"page_size": 1e1}`), m); err == nil {
		t.Error("with no room the codec says nothing")
	}
}

// FuzzJSON: no bytes panic; what decodes, encodes to what decodes to the same.
func FuzzJSON(f *testing.F) {
	for _, text := range []string{
		`{"request_id": "0192f3a1-7c2e-7d00-8a4b-1f2e3d4c5b6a", "record": {"patient": {"name": {"full": "A"}}}, "update_mask": ["name"], "context": "_-8"}`,
		`{"record": {"session": {"injections": [{"id": "x"}]}}}`, `{"update_mask": [1e3]}`, `{"context": null}`, `[[[[`, `{"record":{"record":{}}}`, "\"\xff", `{"a":1}{`,
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		m := &chartv1.EditRecordRequest{}
		if err := checkJSON(m.ProtoReflect().Descriptor(), b); err != nil {
			if e := fault.Of(err); e == nil || e.Field == "" || e.Want == "" {
				t.Fatalf("%v names no field or nothing wanted", err)
			}
			return
		}
		if (protojson.UnmarshalOptions{RecursionLimit: maxDepth}).Unmarshal(b, m) != nil {
			return
		}
		again := &chartv1.EditRecordRequest{}
		out, err := jsonCodec{}.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if err := (jsonCodec{newUnread()}).Unmarshal(out, again); err != nil || !proto.Equal(m, again) {
			t.Fatalf("%s: %v", out, err)
		}
	})
}
