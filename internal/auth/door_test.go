package auth

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/store"
	"needlebook/internal/store/storetest"
)

const goodPassword = "seven brown otters, singing"

// newDoor returns a door and the invitation of ada's account.
func newDoor(t testing.TB, c *clock) (*Door, store.Store, Code) {
	t.Helper()
	st := storetest.NewMemory()
	var code Code
	mustUpdate(t, st, func(w store.Writer) error {
		if _, err := SetPositions(w, ada().Org, ada().Staff, ada().Positions, false); err != nil {
			return err
		}
		var err error
		code, _, err = Invite(w, rand.Reader, c.now(), ada().Staff)
		return err
	})
	return NewDoor(st, NewHasher(cheap, 1), NewLimiter(), c.now), st, code
}

func TestInvitationThenPassword(t *testing.T) {
	ctx := context.Background()
	c := &clock{start}
	d, st, code := newDoor(t, c)
	if _, err := d.Check(ctx, "ada", goodPassword, address(1)); reasonOf(err) != faultv1.Reason_REASON_BAD_PASSWORD {
		t.Errorf("before the invitation was used: %v", err)
	}
	for name, try := range map[string]struct {
		code, name, password string
		want                 faultv1.Reason
	}{
		"wrong code":    {"0000-0000-0000-0000", "ada", goodPassword, faultv1.Reason_REASON_BAD_CODE},
		"bad name":      {code.String(), "Ada Lovelace", goodPassword, faultv1.Reason_REASON_INVALID_FIELD},
		"weak password": {code.String(), "ada", "password", faultv1.Reason_REASON_INVALID_FIELD},
	} {
		if _, err := d.Claim(ctx, try.code, "r1", try.name, try.password, address(1)); reasonOf(err) != try.want {
			t.Errorf("%s: %v, want %s", name, err, try.want)
		}
	}
	a, err := d.Claim(ctx, code.String(), "r1", "ada", goodPassword, address(1))
	if err != nil || a.Name != "ada" || a.Staff != ada().Staff {
		t.Fatalf("%+v, %v", a, err)
	}
	if again, err := d.Claim(ctx, code.String(), "r1", "ada", goodPassword, address(1)); err != nil || again.Hash != a.Hash {
		t.Errorf("the same request again: %v", err)
	}
	for name, try := range map[string][3]string{"another request": {"r2", "ada", goodPassword},
		"another password": {"r1", "ada", goodPassword + "!"}, "another name": {"r1", "eve", goodPassword}} {
		if _, err := d.Claim(ctx, code.String(), try[0], try[1], try[2], address(1)); reasonOf(err) != faultv1.Reason_REASON_BAD_CODE {
			t.Errorf("used, %s: %v", name, err)
		}
	}
	for _, name := range []string{"ada", "ADA"} {
		if got, err := d.Check(ctx, name, goodPassword, address(1)); err != nil || got.Staff != ada().Staff {
			t.Errorf("sign-in as %s: %v", name, err)
		}
	}
	mustUpdate(t, st, func(w store.Writer) error {
		other := uuid.New()
		if _, err := SetPositions(w, ada().Org, other, nil, false); err != nil {
			return err
		}
		if _, err := SetCredentials(w, other, "ada", PasswordHash{Cost: cheap}); reasonOf(err) != faultv1.Reason_REASON_INVALID_FIELD {
			t.Errorf("a name that another has: %v", err)
		}
		return nil
	})
}

func TestInvitationEnds(t *testing.T) {
	c := &clock{start}
	d, st, code := newDoor(t, c)
	c.t = start.Add(InvitationLife)
	if _, err := d.Claim(context.Background(), code.String(), "r1", "ada", goodPassword, address(1)); reasonOf(err) != faultv1.Reason_REASON_BAD_CODE {
		t.Errorf("expired: %v", err)
	}
	_ = st.Update(context.Background(), func(w store.Writer) error {
		if _, _, err := Invite(w, rand.Reader, start, uuid.New()); reasonOf(err) != faultv1.Reason_REASON_NOT_FOUND {
			t.Errorf("an invitation for nobody: %v", err)
		}
		return nil
	})
}

// TestLostAdministrator: a new invitation sets a new password, and ends the sign-ins of whoever had the old one.
func TestLostAdministrator(t *testing.T) {
	ctx := context.Background()
	c := &clock{start}
	d, st, code := newDoor(t, c)
	old, err := d.Claim(ctx, code.String(), "r1", "ada", goodPassword, address(1))
	if err != nil {
		t.Fatal(err)
	}
	var signIn Refreshed
	var second Code
	mustUpdate(t, st, func(w store.Writer) (err error) {
		if signIn, err = BeginSignIn(w, rand.Reader, start, old, uuid.Nil); err != nil {
			return err
		}
		second, _, err = Invite(w, rand.Reader, start, ada().Staff)
		return err
	})
	if _, refusal := refresh(t, st, start, signIn.Token, "r1", nil); refusal != nil {
		t.Fatalf("an invitation alone ends nothing: %v", refusal)
	}
	if _, err := d.Claim(ctx, second.String(), "r2", "ada.new", goodPassword+" again", address(1)); err != nil {
		t.Fatal(err)
	}
	if _, refusal := refresh(t, st, start, signIn.Token, "r1", nil); !refused(refusal) {
		t.Errorf("the old sign-in goes on: %v", refusal)
	}
	if err := st.View(ctx, func(r store.Reader) error {
		_, err := Admit(r, Claims{Staff: old.Staff, Org: old.Org, RoleVersion: old.RoleVersion})
		return err
	}); !refused(err) {
		t.Errorf("the old access token goes on: %v", err)
	}
	for _, try := range []struct{ name, password string }{{"ada", goodPassword}, {"ada.new", goodPassword}} {
		if _, err := d.Check(ctx, try.name, try.password, address(2)); reasonOf(err) != faultv1.Reason_REASON_BAD_PASSWORD {
			t.Errorf("%s with the old password: %v", try.name, err)
		}
	}
	if _, err := d.Check(ctx, "ada.new", goodPassword+" again", address(2)); err != nil {
		t.Error(err)
	}
}

func TestRefusalsAtTheDoorAreAlike(t *testing.T) {
	ctx := context.Background()
	c := &clock{start}
	d, st, code := newDoor(t, c)
	if _, err := d.Claim(ctx, code.String(), "r1", "ada", goodPassword, address(1)); err != nil {
		t.Fatal(err)
	}
	_, wrong := d.Check(ctx, "ada", goodPassword+"x", address(2))
	_, unknown := d.Check(ctx, "eve", goodPassword, address(3))
	_, malformed := d.Check(ctx, "no such\x00name", goodPassword, address(4))
	mustUpdate(t, st, func(w store.Writer) error { _, err := SetPositions(w, ada().Org, ada().Staff, nil, true); return err })
	_, suspended := d.Check(ctx, "ada", goodPassword, address(5))
	want := fmt.Sprintf("%#v", *fault.New(faultv1.Reason_REASON_BAD_PASSWORD, "", "", ""))
	for name, err := range map[string]error{"wrong": wrong, "unknown": unknown, "malformed": malformed, "suspended": suspended} {
		if e := fault.Of(err); e == nil || fmt.Sprintf("%#v", *e) != want {
			t.Errorf("%s: %#v", name, err)
		}
	}
}

// TestUnknownNamesCostTheSame compares medians at a cost that shows; an answer without the work would be some hundred times faster.
func TestUnknownNamesCostTheSame(t *testing.T) {
	ctx := context.Background()
	c := &clock{start}
	d, _, code := newDoor(t, c)
	d.hasher = NewHasher(Cost{MemoryKiB: 4096, Passes: 1, Lanes: 1}, 1)
	if _, err := d.Claim(ctx, code.String(), "r1", "ada", goodPassword, address(1)); err != nil {
		t.Fatal(err)
	}
	median := func(name string, from int) time.Duration {
		var took []time.Duration
		for n := range 15 {
			begin := time.Now()
			_, _ = d.Check(ctx, name, "wrong wrong wrong", address(from+n))
			took = append(took, time.Since(begin))
		}
		slices.Sort(took)
		return took[len(took)/2]
	}
	known, unknown := median("ada", 100), median("eve", 200)
	t.Logf("known %v, unknown %v", known, unknown)
	if unknown < known/3 || known < unknown/3 {
		t.Errorf("known name %v, unknown name %v", known, unknown)
	}
}

func TestDoorIsLimited(t *testing.T) {
	ctx := context.Background()
	c := &clock{start}
	d, _, code := newDoor(t, c)
	if _, err := d.Claim(ctx, code.String(), "r1", "ada", goodPassword, address(1)); err != nil {
		t.Fatal(err)
	}
	var err error
	for range accountBurst + 1 {
		_, err = d.Check(ctx, "ada", "wrong", address(7))
	}
	if reasonOf(err) != faultv1.Reason_REASON_RATE_LIMITED {
		t.Errorf("after %d failures: %v", accountBurst, err)
	}
	if _, err := d.Check(ctx, "ada", goodPassword, address(8)); err != nil {
		t.Errorf("from elsewhere: %v", err)
	}
	for range addressBurst + 1 {
		_, err = d.Claim(ctx, "0000-0000-0000-0000", "r", "eve", goodPassword, address(9))
	}
	if reasonOf(err) != faultv1.Reason_REASON_RATE_LIMITED {
		t.Errorf("after %d wrong codes: %v", addressBurst, err)
	}
}

func TestBreakGlass(t *testing.T) {
	st := storetest.NewMemory()
	p := Principal{Staff: ada().Staff, Org: ada().Org}
	patient := uuid.New()
	open := func(at time.Duration, who Principal, whom uuid.UUID) (is bool) {
		err := st.View(context.Background(), func(r store.Reader) (err error) {
			is, err = GrantOpen(r, start.Add(at), who, whom)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return is
	}
	for name, try := range map[string]struct {
		reason string
		life   time.Duration
	}{"no reason": {"", time.Hour}, "no words": {" .-", time.Hour}, "too long a life": {"swelling", MaxGrantLife + 1},
		"no life": {"swelling", 0}, "no text": {"sw\xff", time.Hour}} {
		err := st.Update(context.Background(), func(w store.Writer) error {
			_, err := BreakGlass(w, start, p, patient, try.reason, try.life)
			return err
		})
		if reasonOf(err) != faultv1.Reason_REASON_INVALID_FIELD || open(0, p, patient) {
			t.Errorf("%s: %v", name, err)
		}
	}
	mustUpdate(t, st, func(w store.Writer) error {
		_, err := BreakGlass(w, start, p, patient, "swelling after treatment elsewhere", MaxGrantLife)
		return err
	})
	for _, c := range []struct {
		at   time.Duration
		who  Principal
		whom uuid.UUID
		want bool
	}{
		{0, p, patient, true}, {MaxGrantLife - time.Millisecond, p, patient, true}, {MaxGrantLife, p, patient, false},
		{-time.Millisecond, p, patient, false},
		{0, p, uuid.New(), false}, {0, Principal{Staff: uuid.New(), Org: p.Org}, patient, false},
		{0, Principal{Staff: p.Staff, Org: uuid.New()}, patient, false},
	} {
		if got := open(c.at, c.who, c.whom); got != c.want {
			t.Errorf("after %v: open %v", c.at, got)
		}
	}
	mustUpdate(t, st, func(w store.Writer) error { return CloseGrant(w, p, patient) })
	if open(0, p, patient) {
		t.Error("open after it was closed")
	}
}

func TestSweepRemovesOnlyWhatEnded(t *testing.T) {
	st, b := newSignedIn(t)
	mustUpdate(t, st, func(w store.Writer) error {
		if _, _, err := Invite(w, rand.Reader, start, ada().Staff); err != nil {
			return err
		}
		_, err := BreakGlass(w, start, Principal{Staff: ada().Staff, Org: ada().Org}, uuid.New(), "swelling", time.Hour)
		return err
	})
	for _, step := range []struct {
		at   time.Duration
		want int
	}{{0, 0}, {CodeLife, 1}, {MaxGrantLife, 1}, {InvitationLife, 1}, {RefreshLife - time.Second, 0}, {RefreshLife, 1}, {10 * RefreshLife, 0}} {
		mustUpdate(t, st, func(w store.Writer) error {
			n, err := Sweep(w, start.Add(step.at), 100)
			if n != step.want {
				t.Errorf("after %v: %d removed, want %d", step.at, n, step.want)
			}
			return err
		})
	}
	_ = st.View(context.Background(), func(r store.Reader) error {
		if _, err := GetDevice(r, ada().Org, b.device.ID); err != nil {
			t.Errorf("the device went, too: %v", err)
		}
		return nil
	})
}

func TestKeyringIsKept(t *testing.T) {
	st := storetest.NewMemory()
	ensure := func(now time.Time) (k Keyring) {
		mustUpdate(t, st, func(w store.Writer) (err error) {
			k, err = EnsureKeyring(w, rand.Reader, now, 24*time.Hour)
			return err
		})
		return k
	}
	first := ensure(start)
	same := ensure(start.Add(time.Hour))
	next := ensure(start.Add(25 * time.Hour))
	if first.keys[0].ID != same.keys[0].ID || len(same.keys) != 1 {
		t.Error("a young ring was replaced")
	}
	if len(next.keys) != 2 || next.keys[1].ID != first.keys[0].ID || next.keys[0].ID == first.keys[0].ID {
		t.Error("an old ring was not rotated")
	}
	c := &clock{start}
	if _, err := NewVerifier(next, issuer, audience, c.now).Verify(mustSign(t, first, start)); err != nil {
		t.Errorf("a token of the key before: %v", err)
	}
	_ = st.View(context.Background(), func(r store.Reader) error {
		loaded, err := LoadKeyring(r)
		if err != nil || len(loaded.keys) != 2 || !loaded.keys[0].Private.Equal(next.keys[0].Private) {
			t.Errorf("loaded %v", err)
		}
		return nil
	})
	err := storetest.NewMemory().View(context.Background(), func(r store.Reader) error { _, err := LoadKeyring(r); return err })
	if !errors.Is(err, store.ErrNotFound) {
		t.Errorf("no ring yet: %v", err)
	}
}
