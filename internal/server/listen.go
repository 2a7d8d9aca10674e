package server

import (
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/rest"
	"needlebook/internal/tablet"
)

// Limits of the listener. A whole clinic may come from one address.
const (
	maxConnections       = 4096
	maxConnectionsOfOne  = 512
	maxStreams           = 16
	maxHeaderBytes       = 16 << 10
	headerWithin         = 5 * time.Second
	readWithin           = 150 * time.Second // a body's own pace (package service) ends most earlier
	writeWithin          = 150 * time.Second
	idleConnection       = 2 * time.Minute
	strictTransportValue = "max-age=31536000"
)

// openTLS prepares the certificate that the configuration asks for.
func (s *Server) openTLS() (err error) {
	switch {
	case s.cfg.CertFile != "":
		c, err := openCertificate(s.cfg.CertFile, s.cfg.KeyFile, s.log)
		if err != nil {
			return err
		}
		s.tls = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: c.get}
	case s.cfg.usesAuthority():
		if len(s.cfg.Hosts) == 0 {
			s.cfg.Hosts = hostsOf(s.cfg.Listen)
		}
		if s.authority, err = auth.OpenAuthority(filepath.Join(s.cfg.Data, authorityFolder), s.cfg.Hosts, s.cfg.Now); err != nil {
			return err
		}
		s.tls = s.authority.TLSConfig()
	}
	return nil
}

// hostsOf are the names and addresses of this machine by which others reach a listener.
func hostsOf(listen string) (hosts []string) {
	host, _, _ := net.SplitHostPort(listen)
	a, err := netip.ParseAddr(host)
	if err != nil && host != "" || err == nil && !a.IsUnspecified() {
		return []string{host}
	}
	if name, err := os.Hostname(); err == nil && name != "" {
		hosts = append(hosts, strings.ToLower(name))
	}
	addresses, _ := net.InterfaceAddrs()
	for _, address := range addresses {
		if n, ok := address.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			hosts = append(hosts, n.IP.String())
		}
	}
	return append(hosts, "localhost", "127.0.0.1")
}

func (s *Server) listen() error {
	l, err := net.Listen("tcp", s.cfg.Listen)
	if err != nil {
		return fmt.Errorf("listen on %s: %w", s.cfg.Listen, err)
	}
	s.url = s.publicURL(l.Addr())
	s.listener = newBoundedListener(l)
	if s.tls != nil {
		s.tls.NextProtos = []string{"h2", "http/1.1"}
		s.listener = tls.NewListener(s.listener, s.tls)
	}
	if s.cfg.MetricsListen == "" {
		return nil
	}
	if s.private, err = net.Listen("tcp", s.cfg.MetricsListen); err != nil {
		return fmt.Errorf("listen on %s: %w", s.cfg.MetricsListen, err)
	}
	return nil
}

func (s *Server) publicURL(at net.Addr) string {
	if s.cfg.PublicURL != "" {
		return strings.TrimSuffix(s.cfg.PublicURL, "/")
	}
	host, port, _ := net.SplitHostPort(at.String())
	if len(s.cfg.Hosts) > 0 {
		host = s.cfg.Hosts[0]
	}
	u := url.URL{Scheme: "http", Host: net.JoinHostPort(host, port)}
	if s.tls != nil {
		u.Scheme = "https"
	}
	return u.String()
}

// webServer answers tablets.
func (s *Server) webServer() *http.Server {
	srv := bounded(s.secured(s.mux()))
	srv.Protocols = new(http.Protocols)
	srv.Protocols.SetHTTP1(true)
	srv.Protocols.SetHTTP2(true)
	// HTTP/2 without TLS is for scripts on this machine; elsewhere plain HTTP stays with what proxies understand.
	srv.Protocols.SetUnencryptedHTTP2(s.tls == nil && isLoopback(s.cfg.Listen))
	srv.HTTP2 = &http.HTTP2Config{MaxConcurrentStreams: maxStreams, MaxReadFrameSize: 64 << 10}
	return srv
}

func bounded(h http.Handler) *http.Server {
	return &http.Server{
		Handler: h, ReadHeaderTimeout: headerWithin, ReadTimeout: readWithin, WriteTimeout: writeWithin, IdleTimeout: idleConnection,
		MaxHeaderBytes: maxHeaderBytes, ErrorLog: discardLog(),
	}
}

// mux is what tablets reach: the calls, the authority's certificate, and what is shown to developers of clients.
func (s *Server) mux() http.Handler {
	mux := http.NewServeMux()
	if s.authority != nil {
		mux.HandleFunc(CertificatePath, s.certificate)
	}
	if s.cfg.Docs {
		pages := rest.Pages()
		for _, path := range []string{rest.DocumentPath, rest.DocsPath, rest.DocsPath + "/"} {
			mux.Handle(path, pages)
		}
	}
	mux.Handle("/", s.tablet(s.service.Handler()))
	return mux
}

// certificate answers with the certificate of the clinic's own authority.
func (s *Server) certificate(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		rest.Refuse(w, http.StatusMethodNotAllowed, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "method", r.Method, "GET or HEAD"))
		return
	}
	w.Header().Set("Content-Type", "application/x-pem-file")
	w.Header().Set("Content-Disposition", `attachment; filename="needlebook-authority.pem"`)
	_, _ = w.Write(s.authority.CertificatePEM()) // the client may be gone
}

// tablet serves the tablet client before the calls. Its files are part of the binary, so that they cannot be read is a defect of the build.
func (s *Server) tablet(calls http.Handler) http.Handler {
	h, err := tablet.Handler(calls)
	if err != nil {
		s.log.Error("the tablet client is not served", "cause", err)
		return calls
	}
	return h
}

// CertificatePath is where a tablet fetches the certificate of the clinic's own authority.
const CertificatePath = "/authority.pem"

// secured adds the headers that every answer carries. Answers hold patient data or tokens: nobody may keep, frame or sniff them.
func (s *Server) secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Cache-Control", "no-store")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Content-Type-Options", "nosniff")
		if s.tls != nil {
			h.Set("Strict-Transport-Security", strictTransportValue)
		}
		next.ServeHTTP(w, r)
	})
}

// boundedListener closes connections beyond the limits at once, so that those who hold many open starve nobody else.
type boundedListener struct {
	net.Listener
	mu    sync.Mutex
	total int
	ofOne map[netip.Addr]int
}

func newBoundedListener(l net.Listener) *boundedListener {
	return &boundedListener{Listener: l, ofOne: map[netip.Addr]int{}}
}

// Accept implements net.Listener.
func (l *boundedListener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		at := addressOf(c)
		if l.enter(at) {
			return &boundedConn{Conn: c, leave: sync.OnceFunc(func() { l.leave(at) })}, nil
		}
		c.Close()
	}
}

func addressOf(c net.Conn) netip.Addr {
	a, err := netip.ParseAddrPort(c.RemoteAddr().String())
	if err != nil {
		return netip.Addr{}
	}
	return a.Addr().Unmap()
}

func (l *boundedListener) enter(at netip.Addr) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.total >= maxConnections || l.ofOne[at] >= maxConnectionsOfOne {
		return false
	}
	l.total++
	l.ofOne[at]++
	return true
}

func (l *boundedListener) leave(at netip.Addr) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.total--
	if l.ofOne[at]--; l.ofOne[at] == 0 {
		delete(l.ofOne, at)
	}
}

type boundedConn struct {
	net.Conn
	leave func()
}

// Close implements net.Conn.
func (c *boundedConn) Close() error {
	c.leave()
	return c.Conn.Close()
}
