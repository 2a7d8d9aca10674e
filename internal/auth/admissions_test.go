package auth

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"
	"pgregory.net/rapid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/internal/store"
)

// TestTwin_AdmissionsAnswerAsAdmit changes accounts and devices at random, rolls some changes back, and asks both after each.
func TestTwin_AdmissionsAnswerAsAdmit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		st, b := newSignedIn(t)
		var kept Admissions
		claims := Claims{Staff: ada().Staff, Org: ada().Org, Device: b.device.ID}
		changes := map[string]func(store.Writer) error{
			"roles": func(w store.Writer) error {
				role := rapid.SampledFrom([]accessv1.Role{accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_AUDITOR}).Draw(rt, "role")
				_, err := SetPositions(w, ada().Org, ada().Staff, []Position{{Clinic: clinicA, Roles: []accessv1.Role{role}}}, rapid.Bool().Draw(rt, "suspended"))
				return err
			},
			"revoke": func(w store.Writer) error {
				_, err := RevokeDevice(w, start.Add(time.Minute), ada().Org, b.device.ID, ada().Staff)
				return err
			},
			"damage": func(w store.Writer) error { return w.Put(deviceKey(b.device.ID), []byte{valueVersion, '{'}) },
			"remove": func(w store.Writer) error { return w.Delete(accountKey(ada().Staff)) },
		}
		for range rapid.IntRange(1, 8).Draw(rt, "steps") {
			change := rapid.SampledFrom([]string{"roles", "roles", "revoke", "damage", "remove"}).Draw(rt, "change")
			undone := rapid.Bool().Draw(rt, "rolled back")
			_ = st.Update(context.Background(), func(w store.Writer) error {
				err := changes[change](w)
				if _, asked := kept.Admit(w, claims); undone {
					err = errors.Join(err, asked, context.Canceled)
				}
				return err
			})
			claims.RoleVersion = uint64(rapid.IntRange(0, 4).Draw(rt, "role version"))
			claims.Device = rapid.SampledFrom([]uuid.UUID{b.device.ID, uuid.Nil, {9}}).Draw(rt, "device")
			for range 2 {
				var want, got Principal
				var wantErr, gotErr error
				_ = st.View(context.Background(), func(r store.Reader) error {
					want, wantErr = Admit(r, claims)
					got, gotErr = kept.Admit(r, claims)
					d, dErr := GetDevice(r, ada().Org, claims.Device)
					k, kErr := kept.Device(r, ada().Org, claims.Device)
					if d != k || reasonOf(dErr) != reasonOf(kErr) || (dErr == nil) != (kErr == nil) {
						rt.Fatalf("after %s: %+v, %v; want %+v, %v", change, k, kErr, d, dErr)
					}
					a, aErr := Author(r, ada().Org, ada().Staff)
					b, bErr := kept.Author(r, ada().Org, ada().Staff)
					if !cmp.Equal(a, b) || reasonOf(aErr) != reasonOf(bErr) || (aErr == nil) != (bErr == nil) {
						rt.Fatalf("after %s: author %+v, %v; want %+v, %v", change, b, bErr, a, aErr)
					}
					return nil
				})
				if !cmp.Equal(want, got) || reasonOf(wantErr) != reasonOf(gotErr) || (wantErr == nil) != (gotErr == nil) {
					rt.Fatalf("after %s: %+v, %v; want %+v, %v", change, got, gotErr, want, wantErr)
				}
			}
		}
	})
}
