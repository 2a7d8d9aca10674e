package main

import (
	"context"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"connectrpc.com/connect"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/gen/needlebook/access/v1/accessv1connect"
	"needlebook/gen/needlebook/chart/v1/chartv1connect"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/device"
)

const (
	// callTimeout bounds one call.
	callTimeout = 30 * time.Second
	// mostAnswerBytes bounds an answer when unpacked; a page of 1,000 people with long names is far below it.
	mostAnswerBytes = 16 << 20
)

// office is the way to a server for a person who manages staff and devices, without a device.
type office struct {
	server string
	token  string
	// staff is who signed in; nil before.
	staff  *accessv1.Staff
	access accessv1connect.AccessServiceClient
	chart  chartv1connect.ChartServiceClient
	next   http.RoundTripper
}

// newOffice makes the way to a server, whose address flagName gave. authority is a PEM file with the certificate to trust; empty for those that the system trusts.
func newOffice(name, flagName, server, authority string) (*office, error) {
	server, err := serverAddress(name, flagName, server)
	if err != nil {
		return nil, err
	}
	var trusted []byte
	if authority != "" {
		if trusted, err = os.ReadFile(authority); err != nil {
			return nil, err
		}
	}
	t, err := device.Transport(string(trusted))
	if err != nil || authority != "" && len(trusted) == 0 {
		return nil, usagef("%s: --ca: read a file of %d bytes, want a certificate in PEM", name, len(trusted))
	}
	o := &office{server: server, next: t}
	client := &http.Client{Transport: o, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	o.access = accessv1connect.NewAccessServiceClient(client, server, connect.WithReadMaxBytes(mostAnswerBytes))
	o.chart = chartv1connect.NewChartServiceClient(client, server, connect.WithReadMaxBytes(mostAnswerBytes))
	return o, nil
}

// serverAddress reads an address of scheme and host. A password crosses a network only within TLS.
func serverAddress(name, flagName, text string) (string, error) {
	text = strings.TrimSuffix(text, "/")
	u, err := url.Parse(text)
	if err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http" || text != u.Scheme+"://"+u.Host {
		return "", usagef("%s: %s: read %q, want an address such as https://needlebook.local:8740", name, flagName, text)
	}
	ip := net.ParseIP(u.Hostname())
	if u.Scheme == "http" && u.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", usagef("%s: %s: read %q, want https, since this is another machine", name, flagName, text)
	}
	return text, nil
}

// RoundTrip implements http.RoundTripper: it adds the token, once there is one.
func (o *office) RoundTrip(r *http.Request) (*http.Response, error) {
	if o.token != "" {
		r = r.Clone(r.Context())
		r.Header.Set("Authorization", "Bearer "+o.token)
	}
	return o.next.RoundTrip(r)
}

// ask makes one call. It fails with a device.AwayError, a device.RefusedError or the context's error.
func ask[Q, R any](ctx context.Context, o *office, call func(context.Context, *Q) (*R, error), req *Q) (*R, error) {
	within, cancel := context.WithTimeout(ctx, callTimeout)
	defer cancel()
	resp, err := call(within, req)
	switch {
	case err == nil:
		return resp, nil
	case ctx.Err() != nil:
		return nil, ctx.Err()
	}
	refused := device.RefusalOf(err)
	if refused == nil || refused.Fault.Reason == faultv1.Reason_REASON_UNAVAILABLE {
		return nil, &device.AwayError{Server: o.server, Cause: err}
	}
	return nil, refused
}
