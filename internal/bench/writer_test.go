package bench_test

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"net/http"
	"testing"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// writer is an enrolled tablet that holds its own patients, with edits that were made and signed beforehand: the tablets' own work is left out on both
// sides, since they have processors of their own.
type writer struct {
	client   syncv1connect.SyncServiceClient
	requests []*syncv1.ExchangeRequest
}

func (h *host) writer(b *testing.B, each int) *writer {
	b.Helper()
	h.ahead.Add(int64(3 * time.Second))
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		b.Fatal(err)
	}
	id := uuid.New()
	token := h.signIn(b, key, h.enrol(b, key, id))
	w := &writer{client: syncv1connect.NewSyncServiceClient(&http.Client{Transport: bearer{token}}, h.url)}
	_, err = w.client.Exchange(b.Context(), &syncv1.ExchangeRequest{Replica: id[:], Scope: &syncv1.ScopeChange{Mode: syncv1.ScopeMode_SCOPE_MODE_PATIENTS}})
	if err != nil {
		b.Fatal(err)
	}
	w.requests = h.signedEdits(b, key, causal.ReplicaID(id), each)
	return w
}

func (h *host) enrol(b *testing.B, key *ecdsa.PrivateKey, replica uuid.UUID) string {
	b.Helper()
	m, err := h.access().CreateEnrolmentCode(b.Context(), &accessv1.CreateEnrolmentCodeRequest{
		RequestId: uuid.NewString(), ClinicId: h.clinic, Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE,
	})
	if err != nil {
		b.Fatal(err)
	}
	code, err := auth.ParseCode(m.GetCode())
	public, ok := auth.DeviceKeyOf(&key.PublicKey)
	if err != nil || !ok {
		b.Fatal(err)
	}
	resp, err := h.access().EnrolDevice(b.Context(), &accessv1.EnrolDeviceRequest{
		RequestId: uuid.NewString(), Code: m.GetCode(), Label: "Room", Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE, PublicKey: public.Bytes(),
		ReplicaId: replica.String(), Proof: h.sign(b, key, auth.EnrolStatement(code, public)),
	})
	if err != nil {
		b.Fatal(err)
	}
	return resp.GetDevice().GetId()
}

func (h *host) sign(b *testing.B, key *ecdsa.PrivateKey, statement []byte) []byte {
	b.Helper()
	signature, err := auth.SignP256(rand.Reader, key, statement)
	if err != nil {
		b.Fatal(err)
	}
	return signature
}

func (h *host) signIn(b *testing.B, key *ecdsa.PrivateKey, device string) string {
	b.Helper()
	request := uuid.NewString()
	m, err := h.access().SignIn(b.Context(), &accessv1.SignInRequest{
		SignInName: "ada", Password: password, DeviceId: &device, RequestId: &request, Proof: h.sign(b, key, auth.SignInStatement("ada", request)),
	})
	if err != nil {
		b.Fatal(err)
	}
	return m.GetTokens().GetAccessToken()
}

// signedEdits is requests that each carry one new session.
func (h *host) signedEdits(b *testing.B, key *ecdsa.PrivateKey, id causal.ReplicaID, n int) []*syncv1.ExchangeRequest {
	b.Helper()
	var out []*syncv1.ExchangeRequest
	var previous record.Hash
	for i := range n {
		k, m := h.source.session(h.staff, h.clinic)
		writes, err := h.schema.Split(k.Kind, mustMarshal(b, m))
		if err != nil {
			b.Fatal(err)
		}
		e := record.Edit{
			ID: h.source.id(), Key: k, Author: h.staff, Writes: writes, Previous: previous, Dot: causal.Dot{Replica: id, Counter: uint64(i) + 1},
		}
		page := wire.EncodePage([]record.Edit{e})
		previous = e.Hash()
		page.Signature = h.sign(b, key, wire.Statement(id, e.Dot.Counter, e.Dot.Counter, previous))
		out = append(out, &syncv1.ExchangeRequest{Replica: bytes.Clone(id[:]), HeadCounter: e.Dot.Counter, HeadHash: bytes.Clone(previous[:]), Page: page, PushOnly: true})
	}
	return out
}

// push sends one edit a call and keeps the cursor, as a tablet does.
func (w *writer) push(b *testing.B) {
	var cursor []byte
	for _, req := range w.requests {
		req.Cursor = cursor
		resp, err := w.client.Exchange(b.Context(), req)
		if err != nil {
			b.Error(err)
			return
		}
		if len(resp.GetCursor()) > 0 {
			cursor = resp.GetCursor()
		}
	}
}
