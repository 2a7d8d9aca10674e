package demo

import (
	"io"
	"net/http"
	"sync/atomic"
)

// traffic is what went over the wire, headers left out.
type traffic struct {
	trips, up, down atomic.Int64
}

// trip is a connection that bears a token and counts what goes over it.
type trip struct {
	token string
	count *traffic // nil counts nothing
	base  http.RoundTripper
}

// RoundTrip implements http.RoundTripper.
func (t *trip) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	if t.token != "" {
		r.Header.Set("Authorization", "Bearer "+t.token)
	}
	if t.count == nil {
		return t.base.RoundTrip(r)
	}
	t.count.trips.Add(1)
	if r.Body != nil {
		r.Body = &counted{r.Body, &t.count.up}
	}
	resp, err := t.base.RoundTrip(r)
	if err == nil {
		resp.Body = &counted{resp.Body, &t.count.down}
	}
	return resp, err
}

type counted struct {
	io.ReadCloser
	n *atomic.Int64
}

// Read implements io.Reader.
func (c *counted) Read(b []byte) (int, error) {
	n, err := c.ReadCloser.Read(b)
	c.n.Add(int64(n))
	return n, err
}

func (w *world) client(token string, count *traffic) *http.Client {
	return &http.Client{Transport: &trip{token: token, count: count, base: w.transport}}
}
