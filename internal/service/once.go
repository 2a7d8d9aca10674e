package service

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/store"
)

// requestLife is how long a request is known again. A client that lost the answer asks again within minutes.
const requestLife = 7 * 24 * time.Hour

// doneRequest is a request that was done.
type doneRequest struct {
	Body   []byte `json:"body"` // SHA-256 of the procedure and the message
	AtMS   int64  `json:"at_unix_ms"`
	Result uint64 `json:"result"` // what the handler wants to answer again
}

func (d doneRequest) at() time.Time { return time.UnixMilli(d.AtMS) }

type requester interface {
	proto.Message
	GetRequestId() string
}

// once notes a request in the transaction that does it. again is true when it was done before: then the time is that of the first. The same id with
// another content is ID_REUSED.
func (s *Service) once(w store.Writer, c *call, m requester) (done doneRequest, again bool, err error) {
	id, err := uuid.Parse(m.GetRequestId())
	if err != nil {
		return doneRequest{}, false, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "request_id", fault.Withheld(m.GetRequestId()), "a UUID")
	}
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return doneRequest{}, false, err
	}
	sum := sha256.Sum256(append([]byte(c.procedure+"\x00"), body...))
	k := requestKey(c, id)
	done, err = getJSON[doneRequest](w, k)
	switch {
	case err == nil && !bytes.Equal(done.Body, sum[:]):
		return doneRequest{}, false, fault.New(faultv1.Reason_REASON_ID_REUSED, "request_id", id.String(), "a new id for each request")
	case err == nil:
		return done, true, nil
	case !errors.Is(err, store.ErrNotFound):
		return doneRequest{}, false, err
	}
	done = doneRequest{Body: sum[:], AtMS: s.Now().UnixMilli()}
	return done, false, putJSON(w, k, done)
}

func requestKey(c *call, id uuid.UUID) []byte {
	return key(keyRequest, c.principal.Org[:], c.principal.Staff[:], id[:])
}

// keepResult adds to a request that once noted what to answer again.
func (s *Service) keepResult(w store.Writer, c *call, m requester, done doneRequest) error {
	return putJSON(w, requestKey(c, uuid.MustParse(m.GetRequestId())), done)
}

// sweepRequests forgets requests that are old, at most limit.
func (s *Service) sweepRequests(w store.Writer, limit int) error {
	prefix, n, before := key(keyRequest), 0, s.Now().Add(-requestLife).UnixMilli()
	return w.Scan(prefix, after(prefix), func(k, _ []byte) error {
		d, err := getJSON[doneRequest](w, k)
		if err != nil || d.AtMS >= before {
			return err
		}
		if n++; n > limit {
			return store.Stop
		}
		return w.Delete(k)
	})
}
