package service

import (
	"context"

	"needlebook/internal/store"
)

// OrganisationsIn lists the organisations of a store that no Service is open on, such as a copy.
func OrganisationsIn(ctx context.Context, st store.Store) (out []Organisation, err error) {
	prefix := key(keyOrganisation)
	err = st.View(ctx, func(r store.Reader) error {
		return r.Scan(prefix, after(prefix), func(k, _ []byte) error {
			o, err := getJSON[Organisation](r, k)
			out = append(out, o)
			return err
		})
	})
	return out, err
}
