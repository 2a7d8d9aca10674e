package server

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"

	"needlebook/internal/service"
)

// maxSocketPath is what the address of a Unix socket may hold on every system.
const maxSocketPath = 100

// listenSocket opens the way for console commands. Whoever may open the data folder may use it. A folder whose path is too long for a socket
// has none, and console
// commands that need one say so.
func (s *Server) listenSocket() error {
	path := filepath.Join(s.cfg.Data, socketFile)
	if len(path) > maxSocketPath {
		s.log.Warn("the path of the data folder is too long for the console's socket", "bytes", len(path), "most", maxSocketPath)
		return nil
	}
	// One left behind by a crash; the store's lock says that nobody else is here.
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("open console socket: %w", err)
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return fmt.Errorf("open console socket: %w", err)
	}
	s.socket = l
	return os.Chmod(path, 0o600)
}

// InviteRequest asks for a one-time link for an administrator; uuid.Nil for the first one of the only organisation.
type InviteRequest struct {
	Staff uuid.UUID `json:"staff"`
}

// Invited is a one-time link.
type Invited struct {
	Link string    `json:"link"`
	Ends time.Time `json:"ends"`
}

// consoleServer answers console commands. They may take long, so only headers are timed.
func (s *Server) consoleServer() *http.Server {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /backup", answer(func(ctx context.Context, c BackupConfig) (Backup, error) { return s.BackUp(ctx, c) }))
	mux.HandleFunc("POST /export", answer(func(ctx context.Context, q ExportRequest) (Exported, error) { return s.Export(ctx, q) }))
	mux.HandleFunc("POST /verify", answer(func(ctx context.Context, _ struct{}) (Report, error) { return s.Verify(ctx) }))
	mux.HandleFunc("POST /invite", answer(func(ctx context.Context, r InviteRequest) (Invited, error) { return invite(ctx, s.service, r) }))
	return &http.Server{Handler: mux, ReadHeaderTimeout: headerWithin, ErrorLog: discardLog()}
}

func invite(ctx context.Context, svc *service.Service, r InviteRequest) (out Invited, err error) {
	orgs, err := svc.Organisations(ctx)
	if err != nil {
		return out, err
	}
	err = service.ErrNotAdministrator
	for _, o := range orgs {
		if out.Link, out.Ends, err = svc.Recover(ctx, o, r.Staff); err == nil || !errors.Is(err, service.ErrNotAdministrator) {
			return out, err
		}
	}
	return out, err
}

// answer makes a handler of JSON to JSON.
func answer[Q, A any](fn func(context.Context, Q) (A, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var q Q
		d := json.NewDecoder(io.LimitReader(r.Body, 1<<20))
		d.DisallowUnknownFields()
		if err := d.Decode(&q); err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		a, err := fn(r.Context(), q)
		if err != nil {
			http.Error(w, err.Error(), http.StatusUnprocessableEntity)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(a) // the command may be gone
	}
}

// Console speaks with the server that runs on a data folder.
type Console struct{ client *http.Client }

// ErrNoServer says that no server answers at a data folder.
var ErrNoServer = errors.New("no server answers here")

// OpenConsole finds the server of a data folder; ErrNoServer when none runs.
func OpenConsole(data string) (*Console, error) {
	path := filepath.Join(data, socketFile)
	c, err := net.Dial("unix", path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", data, ErrNoServer)
	}
	c.Close()
	dial := func(ctx context.Context, _, _ string) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "unix", path)
	}
	return &Console{client: &http.Client{Transport: &http.Transport{DialContext: dial}}}, nil
}

// BackUp has the server back itself up.
func (c *Console) BackUp(ctx context.Context, q BackupConfig) (Backup, error) {
	return ask[Backup](ctx, c, "backup", q)
}

// Verify has the server prove itself.
func (c *Console) Verify(ctx context.Context) (Report, error) {
	return ask[Report](ctx, c, "verify", struct{}{})
}

// Invite has the server make a one-time link for an administrator.
func (c *Console) Invite(ctx context.Context, q InviteRequest) (Invited, error) {
	return ask[Invited](ctx, c, "invite", q)
}

func ask[A any](ctx context.Context, c *Console, what string, q any) (a A, err error) {
	body, err := json.Marshal(q)
	if err != nil {
		return a, err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://console/"+what, bytes.NewReader(body))
	if err != nil {
		return a, err
	}
	resp, err := c.client.Do(r)
	if err != nil {
		return a, fmt.Errorf("%s: %w", what, err)
	}
	defer resp.Body.Close() // read only
	if resp.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(resp.Body, 4096))
		return a, fmt.Errorf("%s: the server answers: %s", what, strings.TrimSpace(string(text)))
	}
	return a, json.NewDecoder(resp.Body).Decode(&a)
}

// InviteFolder makes the link when no server runs.
func InviteFolder(ctx context.Context, data, publicURL string, q InviteRequest, now func() time.Time) (Invited, error) {
	c := Default()
	c.Data, c.Listen, c.PublicURL, c.Now = data, "127.0.0.1:0", publicURL, now
	if _, err := os.Stat(filepath.Join(data, storeFile)); err != nil {
		return Invited{}, fmt.Errorf("open %s: %w", data, err)
	}
	s, err := Open(ctx, c)
	if err != nil {
		return Invited{}, err
	}
	out, err := invite(ctx, s.service, q)
	return out, errors.Join(err, s.Close())
}
