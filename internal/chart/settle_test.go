package chart_test

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

const requestID = "0b9d6f5e-4c1a-4f0e-9a55-0c7be4d1a0ff"

func (d *desk) act() chart.Act { return chart.Act{Staff: record.ID{7}, At: d.at} }

// settling is a request over all that st has seen.
func settling(st *record.State) *chartv1.SettleConflictRequest {
	return &chartv1.SettleConflictRequest{
		RequestId: requestID, Key: chart.WriteKey(st.Key), Path: dosePath, Context: chart.WriteContext(st.Seen), Reason: "read from the paper form",
	}
}

func TestSettle(t *testing.T) {
	d := newDesk(t)
	st := d.disputed()
	for name, c := range map[string]struct {
		choose func(*chartv1.SettleConflictRequest)
		want   string // of the dose; nothing when it is to be cleared
	}{
		"one of the values": {func(r *chartv1.SettleConflictRequest) {
			r.Choice = &chartv1.SettleConflictRequest_Keep{Keep: d.chart.Conflicts(st)[0].GetSiblings()[1].GetAuthors()[0].GetDot()}
		}, `{"product":"onabotulinumtoxinA","dose_milliunits":2500}`},
		"another value": {func(r *chartv1.SettleConflictRequest) {
			r.Choice = &chartv1.SettleConflictRequest_ValueJson{ValueJson: `{"dose_milliunits": 3000, "product": "onabotulinumtoxinA"}`}
		}, `{"product":"onabotulinumtoxinA","dose_milliunits":3000}`},
		"none": {func(r *chartv1.SettleConflictRequest) { r.Choice = &chartv1.SettleConflictRequest_Clear{Clear: true} }, ""},
	} {
		req := settling(st)
		c.choose(req)
		change, err := d.chart.Settle(st, req, d.act())
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		after := d.edit(st, 'a', change)
		if n := len(after.Conflicts()); n != 0 {
			t.Errorf("%s: %d conflicts are left", name, n)
		}
		typed, err := chart.Typed(after)
		if err != nil {
			t.Fatal(err)
		}
		got := typed.GetSession().GetInjections()[0].GetPlanned()
		if (got == nil) != (c.want == "") {
			t.Errorf("%s: dose is %v", name, got)
		}
		r, err := d.schema.ParseRegister(st.Key.Kind, dosePath)
		if err != nil {
			t.Fatal(err)
		}
		if v := after.Siblings(r)[0]; c.want != "" && chart.ValueJSON(st.Key.Kind, r, v.Value) != c.want {
			t.Errorf("%s: dose is %s, want %s", name, chart.ValueJSON(st.Key.Kind, r, v.Value), c.want)
		}
		why := typed.GetSession().GetSettlements()
		if len(why) != 1 || why[0].GetId() != requestID || why[0].GetChoice().GetReason() != req.GetReason() || why[0].GetChoice().GetPath() != dosePath ||
			why[0].GetChoice().GetBy() != d.act().Staff.String() || !why[0].GetChoice().GetAt().AsTime().Equal(d.at) {
			t.Errorf("%s: settlements are %v", name, why)
		}
	}
}

// TestSettle_AValueThatCameSinceStays settles from a view that had seen two of three values.
func TestSettle_AValueThatCameSinceStays(t *testing.T) {
	d := newDesk(t)
	st := d.disputed()
	later := record.Join(st, d.put(record.NewState(sessionKey()), 'c', sessionRecord(planned("onabotulinumtoxinA", 9000))))
	req := settling(st)
	req.Choice = &chartv1.SettleConflictRequest_ValueJson{ValueJson: `{"product": "onabotulinumtoxinA", "dose_milliunits": 3000}`}
	change, err := d.chart.Settle(later, req, d.act())
	if err != nil {
		t.Fatal(err)
	}
	conflicts := d.chart.Conflicts(d.edit(later, 'a', change))
	if len(conflicts) != 1 || len(conflicts[0].GetSiblings()) != 2 {
		t.Errorf("conflicts after settling: %v", conflicts)
	}
}

func TestSettle_Refuses(t *testing.T) {
	d := newDesk(t)
	st := d.disputed()
	for name, c := range map[string]struct {
		change func(*chartv1.SettleConflictRequest)
		reason faultv1.Reason
		field  string
	}{
		"no choice":          {func(r *chartv1.SettleConflictRequest) { r.Choice = nil }, faultv1.Reason_REASON_INVALID_FIELD, "choice"},
		"clear, but not":     {func(r *chartv1.SettleConflictRequest) { r.Choice = &chartv1.SettleConflictRequest_Clear{} }, faultv1.Reason_REASON_INVALID_FIELD, "choice"},
		"no reason":          {func(r *chartv1.SettleConflictRequest) { r.Reason = "" }, faultv1.Reason_REASON_INVALID_FIELD, "reason"},
		"no request id":      {func(r *chartv1.SettleConflictRequest) { r.RequestId = "" }, faultv1.Reason_REASON_INVALID_FIELD, "request_id"},
		"no such path":       {func(r *chartv1.SettleConflictRequest) { r.Path = "colour" }, faultv1.Reason_REASON_INVALID_FIELD, "path"},
		"an element":         {func(r *chartv1.SettleConflictRequest) { r.Path = "injections[" + otherID + "]" }, faultv1.Reason_REASON_INVALID_FIELD, "path"},
		"a field at one":     {func(r *chartv1.SettleConflictRequest) { r.Path = "patient_id" }, faultv1.Reason_REASON_INVALID_FIELD, "path"},
		"settled since":      {func(r *chartv1.SettleConflictRequest) { r.Path, r.Context = "patient_id", []byte{0} }, faultv1.Reason_REASON_STALE_READ, "path"},
		"a context cut":      {func(r *chartv1.SettleConflictRequest) { r.Context = r.Context[:3] }, faultv1.Reason_REASON_INVALID_FIELD, "context"},
		"no sibling":         {keep(causal.Dot{Replica: causal.ReplicaID{9}, Counter: 1}), faultv1.Reason_REASON_STALE_READ, "keep"},
		"no dot":             {keep(causal.Dot{Replica: causal.ReplicaID{9}}), faultv1.Reason_REASON_INVALID_FIELD, "keep.counter"},
		"no JSON":            {value(`{"product": `), faultv1.Reason_REASON_INVALID_FIELD, "value_json"},
		"two values":         {value(`{"product": "onabotulinumtoxinA"}, "muscle": "mentalis"`), faultv1.Reason_REASON_INVALID_FIELD, "value_json"},
		"null":               {value(`null`), faultv1.Reason_REASON_INVALID_FIELD, "value_json"},
		"a field not in it":  {value(`{"product": "onabotulinumtoxinA", "colour": 1}`), faultv1.Reason_REASON_INVALID_FIELD, "value_json"},
		"another type":       {value(`"4 units"`), faultv1.Reason_REASON_INVALID_FIELD, "value_json"},
		"a broken number":    {value(`{"product": "onabotulinumtoxinA", "dose_milliunits": 2.5}`), faultv1.Reason_REASON_INVALID_FIELD, "value_json"},
		"a number too large": {value(`{"product": "onabotulinumtoxinA", "dose_milliunits": 1e30}`), faultv1.Reason_REASON_INVALID_FIELD, "value_json"},
	} {
		req := settling(st)
		req.Choice = &chartv1.SettleConflictRequest_Clear{Clear: true}
		c.change(req)
		change, err := d.chart.Settle(st, req, d.act())
		if f := fault.Of(err); f == nil || f.Reason != c.reason || f.Field != c.field {
			t.Errorf("%s: %v, %v", name, change, err)
		}
	}
}

func keep(dot causal.Dot) func(*chartv1.SettleConflictRequest) {
	return func(r *chartv1.SettleConflictRequest) {
		r.Choice = &chartv1.SettleConflictRequest_Keep{Keep: chart.WriteDot(dot)}
	}
}

func value(text string) func(*chartv1.SettleConflictRequest) {
	return func(r *chartv1.SettleConflictRequest) {
		r.Choice = &chartv1.SettleConflictRequest_ValueJson{ValueJson: text}
	}
}

// TestSettle_EveryKindKeepsWhy makes sure that a settlement has a place in records of every kind.
func TestSettle_EveryKindKeepsWhy(t *testing.T) {
	d := newDesk(t)
	for _, kind := range d.schema.Kinds() {
		path := "settlements[" + requestID + "].choice"
		if _, err := d.schema.ParseRegister(kind, path); err != nil {
			t.Errorf("%s: %v", kind, err)
		}
	}
}

func (d *desk) signing(meaning syncv1.SignatureMeaning) chart.Signing {
	return chart.Signing{ID: d.id(), By: d.act(), Meaning: meaning, Statement: "I did this and this is what was done.", Proof: "password", Role: 1}
}

func TestSign_LateEntriesAndAddendum(t *testing.T) {
	d := newDesk(t)
	st := d.put(record.NewState(sessionKey()), 'a', sessionRecord(d.given("onabotulinumtoxinA", 4000)))
	change, err := d.chart.Sign(st, d.signing(syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED))
	if err != nil {
		t.Fatal(err)
	}
	signed := d.edit(st, 'a', change)
	signatures := d.schema.Signatures(signed)
	if len(signatures) != 1 {
		t.Fatalf("%d signatures", len(signatures))
	}
	if err := d.schema.CheckSignature(st, signatures[0].Content); err != nil {
		t.Errorf("the signature against what was signed: %v", err)
	}
	if late := d.chart.LateEntries(signed); len(late) != 0 {
		t.Errorf("late without an edit: %v", late)
	}

	after := d.put(signed, 'b', sessionRecord(&chartv1.Session{OrderId: proto.String(patientID), ResponsibleId: proto.String(patientID)}), "order_id", "responsible_id")
	late := d.chart.LateEntries(after)
	if len(late) != 1 || len(late[0].GetWrites()) != 2 || late[0].GetAuthorship().GetDeviceLabel() != "Tablet b" || late[0].GetWrites()[0].GetPath() != "order_id" {
		t.Fatalf("late entries: %v", late)
	}
	typed, err := chart.Typed(after)
	if err != nil {
		t.Fatal(err)
	}
	if got := typed.GetSession().GetSignatures()[0]; got.GetId() != late[0].GetSignatureId() || got.GetStatement() == "" || got.GetContent().GetSignerId() != d.act().Staff.String() {
		t.Errorf("signature: %v", got)
	}

	change, err = d.chart.Sign(after, d.signing(syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM))
	if err != nil {
		t.Fatal(err)
	}
	if late := d.chart.LateEntries(d.edit(after, 'a', change)); len(late) != 0 {
		t.Errorf("late after the addendum: %v", late)
	}
}

// given is a session in which one injection was given by the desk's own hand.
func (d *desk) given(product string, milliunits int32) *chartv1.Session {
	s := planned(product, milliunits)
	s.Injections[0].Givings = []*chartv1.Giving{{
		Id: patientID, Given: &chartv1.GivenDose{Dose: s.GetInjections()[0].GetPlanned()},
		Done: &recordv1.Act{By: d.act().Staff.String(), At: timestamppb.New(d.at)},
	}}
	return s
}

// TestSign_SaysWhatIsTrue: nobody did a treatment in which nothing was given, and nobody supervises herself; a consultation may be signed all the same.
func TestSign_SaysWhatIsTrue(t *testing.T) {
	d := newDesk(t)
	void := d.given("onabotulinumtoxinA", 4000)
	void.Injections[0].Givings[0].Void = &recordv1.Void{Reason: "not given", By: d.act().Staff.String(), At: timestamppb.New(d.at)}
	consultation := planned("onabotulinumtoxinA", 4000)
	consultation.Kind = chartv1.SessionKind_SESSION_KIND_CONSULTATION.Enum()
	const performed, supervised = syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED
	for name, c := range map[string]struct {
		session *chartv1.Session
		meaning syncv1.SignatureMeaning
		refused bool
	}{
		"given":                        {d.given("onabotulinumtoxinA", 4000), performed, false},
		"planned alone":                {planned("onabotulinumtoxinA", 4000), performed, true},
		"all that was given is void":   {void, performed, true},
		"a consultation":               {consultation, performed, false},
		"supervised by who injected":   {d.given("onabotulinumtoxinA", 4000), supervised, true},
		"supervised, nothing injected": {planned("onabotulinumtoxinA", 4000), supervised, false},
	} {
		st := d.put(record.NewState(sessionKey()), 'a', sessionRecord(c.session))
		_, err := d.chart.Sign(st, d.signing(c.meaning))
		f := fault.Of(err)
		if c.refused != (f != nil) || c.refused && (f.Reason != faultv1.Reason_REASON_INVALID_FIELD || f.Field != "meaning") || !c.refused && err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSign_Refuses(t *testing.T) {
	d := newDesk(t)
	st := d.put(record.NewState(sessionKey()), 'a', sessionRecord(planned("onabotulinumtoxinA", 4000)))
	for name, c := range map[string]struct {
		st      *record.State
		meaning syncv1.SignatureMeaning
		reason  faultv1.Reason
		field   string
	}{
		"a conflict":                {d.disputed(), syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, faultv1.Reason_REASON_UNSETTLED_CONFLICT, dosePath},
		"no meaning":                {st, 0, faultv1.Reason_REASON_INVALID_FIELD, "meaning"},
		"an addendum to nothing":    {st, syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM, faultv1.Reason_REASON_INVALID_FIELD, "meaning"},
		"a kind that is not signed": {record.NewState(record.Key{Kind: 5, ID: record.ID{1}}), syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, faultv1.Reason_REASON_INVALID_FIELD, "key"},
	} {
		change, err := d.chart.Sign(c.st, d.signing(c.meaning))
		if f := fault.Of(err); f == nil || f.Reason != c.reason || f.Field != c.field {
			t.Errorf("%s: %v, %v", name, change, err)
		}
	}
}

func TestVoid(t *testing.T) {
	d := newDesk(t)
	st := d.put(record.NewState(sessionKey()), 'a', sessionRecord(planned("onabotulinumtoxinA", 4000)))
	change, err := d.chart.Void(st, "injections["+otherID+"]", "wrong side", d.act())
	if err != nil {
		t.Fatal(err)
	}
	typed, err := chart.Typed(d.edit(st, 'a', change))
	if err != nil {
		t.Fatal(err)
	}
	if in := typed.GetSession().GetInjections()[0]; in.GetVoid().GetReason() != "wrong side" || in.GetPlanned().GetDoseMilliunits() != 4000 {
		t.Errorf("injection is %v", in)
	}
	for name, c := range map[string]struct {
		path, why string
		reason    faultv1.Reason
		field     string
	}{
		"not there":     {"injections[" + patientID + "]", "x", faultv1.Reason_REASON_NOT_FOUND, "path"},
		"no reason":     {"injections[" + otherID + "]", "", faultv1.Reason_REASON_INVALID_FIELD, "reason"},
		"a register":    {dosePath, "x", faultv1.Reason_REASON_INVALID_FIELD, "path"},
		"a state":       {"states[" + otherID + "]", "x", faultv1.Reason_REASON_INVALID_FIELD, "path"},
		"an empty path": {"", "x", faultv1.Reason_REASON_NOT_FOUND, "path"}, // nothing of the session itself was written yet
	} {
		change, err := d.chart.Void(st, c.path, c.why, d.act())
		if f := fault.Of(err); f == nil || f.Reason != c.reason || f.Field != c.field {
			t.Errorf("%s: %v, %v", name, change, err)
		}
	}
}
