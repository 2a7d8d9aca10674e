package auth

import (
	"bytes"
	"context"
	"crypto/rand"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/store"
	"needlebook/internal/store/storetest"
)

// roomOne is an enrolment of a tablet in ada's organisation.
var roomOne = Enrolment{Org: ada().Org, Clinic: clinicA, Label: "room 1", Kind: accessv1.DeviceKind_DEVICE_KIND_TABLET, MadeBy: ada().Staff}

func mustCode(t testing.TB, st store.Store, now time.Time) (c Code) {
	t.Helper()
	mustUpdate(t, st, func(w store.Writer) (err error) {
		c, _, err = NewEnrolment(w, rand.Reader, now, roomOne)
		return err
	})
	return c
}

// enrolWith runs Enrol in an Update of its own.
func enrolWith(st store.Store, now time.Time, code string, key, proof []byte, replica uuid.UUID) (d Device, err error) {
	err = st.Update(context.Background(), func(w store.Writer) (err error) {
		d, err = Enrol(w, rand.Reader, now, code, "my tablet", key, proof, replica)
		return err
	})
	return d, err
}

func TestEnrolment(t *testing.T) {
	st := storetest.NewMemory()
	b, thief := newTablet(t), newTablet(t)
	c := mustCode(t, st, start)
	replica := uuid.New()
	proof := b.sign(t, EnrolStatement(c, b.key))

	for name, try := range map[string]struct {
		code  string
		key   []byte
		proof []byte
		at    time.Duration
		want  faultv1.Reason
	}{
		"wrong code":                    {"0000-0000-0000-0000", b.key.Bytes(), proof, 0, faultv1.Reason_REASON_BAD_CODE},
		"no code":                       {"", b.key.Bytes(), proof, 0, faultv1.Reason_REASON_BAD_CODE},
		"expired":                       {c.String(), b.key.Bytes(), proof, CodeLife, faultv1.Reason_REASON_BAD_CODE},
		"no key":                        {c.String(), nil, proof, 0, faultv1.Reason_REASON_INVALID_FIELD},
		"no proof":                      {c.String(), b.key.Bytes(), nil, 0, faultv1.Reason_REASON_BAD_SIGNATURE},
		"a key that another holds":      {c.String(), thief.key.Bytes(), proof, 0, faultv1.Reason_REASON_BAD_SIGNATURE},
		"a proof for another code":      {c.String(), b.key.Bytes(), b.sign(t, EnrolStatement(Code{}, b.key)), 0, faultv1.Reason_REASON_BAD_SIGNATURE},
		"a proof made with another key": {c.String(), b.key.Bytes(), thief.sign(t, EnrolStatement(c, b.key)), 0, faultv1.Reason_REASON_BAD_SIGNATURE},
		"a replica of zeros, good else": {c.String(), b.key.Bytes(), proof, -1, faultv1.Reason_REASON_INVALID_FIELD},
	} {
		with := replica
		if try.at == -1 {
			with = uuid.Nil
		}
		if _, err := enrolWith(st, start.Add(max(0, try.at)), try.code, try.key, try.proof, with); reasonOf(err) != try.want {
			t.Errorf("%s: %v, want %s", name, err, try.want)
		}
	}

	typed := strings.ToLower(strings.ReplaceAll(c.String(), "-", " "))
	d, err := enrolWith(st, start.Add(CodeLife-time.Second), typed, b.key.Bytes(), proof, replica)
	if err != nil {
		t.Fatal(err)
	}
	want := Device{ID: d.ID, Org: ada().Org, Clinic: clinicA, Label: "room 1", Kind: roomOne.Kind, Key: b.key, EnrolledBy: ada().Staff,
		EnrolledAtMS: start.Add(CodeLife - time.Second).UnixMilli(), Revision: d.Revision, Replicas: 1}
	if d != want {
		t.Errorf("got  %+v\nwant %+v", d, want)
	}
	again, err := enrolWith(st, start.Add(CodeLife-time.Second), c.String(), b.key.Bytes(), proof, replica)
	if err != nil || again.ID != d.ID {
		t.Errorf("the same tablet again, its answer was lost: %v %v", again.ID, err)
	}
	own := thief.sign(t, EnrolStatement(c, thief.key))
	if _, err := enrolWith(st, start, c.String(), thief.key.Bytes(), own, uuid.New()); reasonOf(err) != faultv1.Reason_REASON_BAD_CODE {
		t.Errorf("a second tablet with the same code: %v", err)
	}
}

func TestRevocationBitesAtOnce(t *testing.T) {
	st, b := newSignedIn(t)
	c := &clock{start}
	ring := mustRing(t, start)
	v := NewVerifier(ring, issuer, audience, c.now)
	var token string
	mustUpdate(t, st, func(w store.Writer) error {
		a, err := GetAccount(w, ada().Staff)
		if err != nil {
			return err
		}
		token, _, err = NewSigner(ring, issuer, audience).Sign(a, b.device.ID, start)
		return err
	})
	admit := func() (p Principal, err error) {
		claims, err := v.Verify(token)
		if err != nil {
			return Principal{}, err
		}
		err = st.View(context.Background(), func(r store.Reader) error { p, err = Admit(r, claims); return err })
		return p, err
	}
	p, err := admit()
	want := Principal{Staff: ada().Staff, Org: ada().Org, Device: b.device.ID, DeviceClinic: clinicA, Positions: ada().Positions}
	if err != nil || !cmp.Equal(p, want) {
		t.Fatalf("%+v, %v", p, err)
	}
	mustUpdate(t, st, func(w store.Writer) error {
		if _, err := RevokeDevice(w, start, uuid.New(), b.device.ID, ada().Staff); reasonOf(err) != faultv1.Reason_REASON_NOT_FOUND {
			t.Errorf("revoked from another organisation: %v", err)
		}
		return nil
	})
	if _, err := admit(); err != nil {
		t.Error(err)
	}
	var first, second Device
	mustUpdate(t, st, func(w store.Writer) (err error) {
		if first, err = RevokeDevice(w, start, ada().Org, b.device.ID, ada().Staff); err != nil {
			return err
		}
		second, err = RevokeDevice(w, start.Add(time.Hour), ada().Org, b.device.ID, ada().Staff)
		return err
	})
	if _, err := admit(); reasonOf(err) != faultv1.Reason_REASON_DEVICE_REVOKED {
		t.Errorf("the next call of a revoked device: %v", err)
	}
	if first != second || first.Revision <= b.device.Revision {
		t.Errorf("revoked twice: %+v, %+v", first, second)
	}
}

func TestChangedRolesBiteAtOnce(t *testing.T) {
	st := storetest.NewMemory()
	var a Account
	set := func(positions []Position, suspended bool) {
		mustUpdate(t, st, func(w store.Writer) (err error) {
			a, err = SetPositions(w, ada().Org, ada().Staff, positions, suspended)
			return err
		})
	}
	set(ada().Positions, false)
	claims := Claims{Staff: a.Staff, Org: a.Org, RoleVersion: a.RoleVersion}
	admit := func() error {
		return st.View(context.Background(), func(r store.Reader) error { _, err := Admit(r, claims); return err })
	}
	set(ada().Positions, false)
	if err := admit(); err != nil || a.RoleVersion != claims.RoleVersion {
		t.Errorf("nothing changed: %v", err)
	}
	set([]Position{{Clinic: clinicA, Roles: []accessv1.Role{accessv1.Role_ROLE_FRONT_DESK}}}, false)
	if err := admit(); !refused(err) {
		t.Errorf("other roles: %v", err)
	}
	claims.RoleVersion = a.RoleVersion
	if err := admit(); err != nil {
		t.Error(err)
	}
	set(a.Positions, true)
	claims.RoleVersion = a.RoleVersion
	if err := admit(); !refused(err) {
		t.Errorf("suspended: %v", err)
	}
	claims.Staff = uuid.New()
	if err := admit(); !refused(err) {
		t.Errorf("an account that never was: %v", err)
	}
	if err := st.Update(context.Background(), func(w store.Writer) error {
		_, err := SetPositions(w, uuid.New(), ada().Staff, nil, false)
		return err
	}); reasonOf(err) != faultv1.Reason_REASON_NOT_FOUND {
		t.Errorf("an account moved to another organisation: %v", err)
	}
	author := func(org uuid.UUID) (p Principal, err error) {
		err = st.View(context.Background(), func(r store.Reader) error { p, err = Author(r, org, ada().Staff); return err })
		return p, err
	}
	if p, err := author(ada().Org); err != nil || len(p.Roles()) != 0 {
		t.Errorf("a suspended author has roles %v, %v", p.Roles(), err)
	}
	if _, err := author(uuid.New()); reasonOf(err) != faultv1.Reason_REASON_NOT_FOUND {
		t.Errorf("an author of another organisation: %v", err)
	}
}

func TestReplicasBelongToOneDevice(t *testing.T) {
	st := storetest.NewMemory()
	a, b := newTablet(t), newTablet(t)
	a.enrol(t, st, start)
	b.enrol(t, st, start)
	replica := uuid.New()
	own := func(d *Device, r uuid.UUID) error {
		return st.Update(context.Background(), func(w store.Writer) error { return OwnReplica(w, d, r) })
	}
	if err := own(&a.device, replica); err != nil {
		t.Fatal(err)
	}
	before := a.device
	if err := own(&a.device, replica); err != nil || a.device != before {
		t.Errorf("again: %v", err)
	}
	if err := own(&b.device, replica); reasonOf(err) != faultv1.Reason_REASON_ACTOR_NOT_YOURS {
		t.Errorf("another device's: %v", err)
	}
	mustUpdate(t, st, func(w store.Writer) error {
		for a.device.Replicas < MaxReplicas {
			if err := OwnReplica(w, &a.device, uuid.New()); err != nil {
				return err
			}
		}
		return nil
	})
	if err := own(&a.device, uuid.New()); reasonOf(err) != faultv1.Reason_REASON_TOO_LARGE {
		t.Errorf("one more than %d: %v", MaxReplicas, err)
	}
	_ = st.View(context.Background(), func(r store.Reader) error {
		if owner, err := ReplicaOwner(r, replica); err != nil || owner != a.device.ID {
			t.Errorf("owner %v, %v", owner, err)
		}
		if _, err := ReplicaOwner(r, uuid.New()); reasonOf(err) != faultv1.Reason_REASON_NOT_FOUND {
			t.Errorf("an unknown replica: %v", err)
		}
		return nil
	})
}

func TestListDevicesPages(t *testing.T) {
	st := storetest.NewMemory()
	want := map[uuid.UUID]bool{}
	for range 7 {
		b := newTablet(t)
		b.enrol(t, st, start)
		want[b.device.ID] = true
	}
	var last uuid.UUID
	for len(want) > 0 {
		var page []Device
		_ = st.View(context.Background(), func(r store.Reader) (err error) { page, err = ListDevices(r, ada().Org, last, 3); return err })
		if len(page) == 0 || len(page) > 3 {
			t.Fatalf("a page of %d with %d to come", len(page), len(want))
		}
		for _, d := range page {
			if !want[d.ID] || bytes.Compare(d.ID[:], last[:]) <= 0 {
				t.Errorf("%v came twice or out of order", d.ID)
			}
			delete(want, d.ID)
			last = d.ID
		}
	}
	_ = st.View(context.Background(), func(r store.Reader) error {
		if page, err := ListDevices(r, uuid.New(), uuid.Nil, 10); err != nil || len(page) != 0 {
			t.Errorf("another organisation sees %d devices, %v", len(page), err)
		}
		return nil
	})
}

func TestCodeReadsAsTyped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c Code
		copy(c.b[:], rapid.SliceOfN(rapid.Byte(), codeBytes, codeBytes).Draw(t, "code"))
		text := c.String()
		if len(text) != 19 || strings.ContainsAny(text, "ILOU") {
			t.Fatalf("prints as %s", text)
		}
		for _, typed := range []string{text, strings.ToLower(text), strings.ReplaceAll(text, "-", ""), " " + strings.ReplaceAll(text, "0", "o") + " ",
			strings.ReplaceAll(text, "1", "l"), strings.ReplaceAll(text, "1", "I")} {
			if got, err := ParseCode(typed); err != nil || got != c {
				t.Fatalf("%q reads as %v, %v", typed, got, err)
			}
		}
	})
	// 80 random bits; at least 64 are wanted of a code.
	if codeBytes*8 < 64 {
		t.Error("codes are too short")
	}
	if got := EnrolURL("https://needlebook.example/", Code{}); got != "https://needlebook.example/#enrol=0000-0000-0000-0000" {
		t.Error(got)
	}
}

func FuzzParseCode(f *testing.F) {
	for _, s := range []string{"0123-4567-89AB-CDEF", "oil0-0000-0000-0000", "0000-0000-0000-000\n", "ſ000000000000000", "U000000000000000"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, err := ParseCode(s)
		if err != nil {
			return
		}
		if again, err := ParseCode(c.String()); err != nil || again != c {
			t.Errorf("%q reads as %s, which does not read back", s, c)
		}
	})
}

func TestProveDevice(t *testing.T) {
	st := storetest.NewMemory()
	b, other := newTablet(t), newTablet(t)
	b.enrol(t, st, start)
	other.enrol(t, st, start)
	signed := SignInStatement("ada", "r1")
	prove := func(id uuid.UUID, proof []byte) (d Device, err error) {
		err = st.View(context.Background(), func(r store.Reader) error { d, err = ProveDevice(r, id, signed, proof); return err })
		return d, err
	}
	if d, err := prove(b.device.ID, b.sign(t, signed)); err != nil || d != b.device {
		t.Errorf("its own: %v", err)
	}
	for name, try := range map[string]struct {
		id    uuid.UUID
		proof []byte
	}{
		"another device's signature": {b.device.ID, other.sign(t, signed)}, "no signature": {b.device.ID, nil}, "unknown device": {uuid.New(), b.sign(t, signed)},
		"another name": {b.device.ID, b.sign(t, SignInStatement("eve", "r1"))}, "another purpose": {b.device.ID, b.sign(t, RefreshStatement("ada", "r1"))},
	} {
		if _, err := prove(try.id, try.proof); !refused(err) {
			t.Errorf("%s: %v", name, err)
		}
	}
	mustUpdate(t, st, func(w store.Writer) error {
		_, err := RevokeDevice(w, start, ada().Org, b.device.ID, ada().Staff)
		return err
	})
	if _, err := prove(b.device.ID, b.sign(t, signed)); reasonOf(err) != faultv1.Reason_REASON_DEVICE_REVOKED {
		t.Errorf("revoked: %v", err)
	}
}
