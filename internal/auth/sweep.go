package auth

import (
	"time"

	"needlebook/internal/store"
)

// Sweep removes what has ended: codes, invitations, sign-ins and grants, at most limit of each, and returns how many. Call it from time to time.
func Sweep(w store.Writer, now time.Time, limit int) (int, error) {
	total := 0
	for _, sweep := range []func() (int, error){
		func() (int, error) {
			return sweepKind(w, keyCode, limit, func(e Enrolment) bool { return e.EndsMS <= now.UnixMilli() })
		},
		func() (int, error) {
			return sweepKind(w, keyInvitation, limit, func(i Invitation) bool { return i.EndsMS <= now.UnixMilli() })
		},
		func() (int, error) {
			return sweepKind(w, keyFamily, limit, func(f family) bool { return !f.endsAt().After(now) })
		},
		func() (int, error) {
			return sweepKind(w, keyGrant, limit, func(g Grant) bool { return g.EndsMS <= now.UnixMilli() })
		},
	} {
		n, err := sweep()
		total += n
		if err != nil {
			return total, err
		}
	}
	return total, nil
}

func sweepKind[T any](w store.Writer, kind byte, limit int, ended func(T) bool) (n int, err error) {
	err = scan(w, makeKey(kind), func(key []byte, v T) error {
		switch {
		case n >= limit:
			return store.Stop
		case !ended(v):
			return nil
		}
		n++
		return w.Delete(key)
	})
	return n, err
}
