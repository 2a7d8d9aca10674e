package server

import (
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"strings"
	"time"

	"needlebook/internal/auth"
	"needlebook/internal/service"
)

// Config says how a server runs. Default gives one to begin with; Validate says what is wrong with one.
type Config struct {
	// Data is the folder that holds everything, made at the first start.
	Data string
	// Listen is the address to listen on, host:port; port 0 takes a free one.
	Listen string
	// PublicURL is the address by which tablets reach the server; empty means the scheme, the first host and the port.
	PublicURL string
	// Hosts are the names and addresses by which tablets reach the server, for the certificate of the clinic's own authority. Empty means those of
	// this machine.
	Hosts []string

	// CertFile and KeyFile are a certificate chain and its key, PEM. Both or none. Read again when they were written anew.
	CertFile, KeyFile string
	// Authority makes and uses a certificate authority of the clinic's own. It is used without being asked for where Listen is not loopback and no
	// certificate is given.
	Authority bool
	// InsecureHTTP allows plain HTTP where Listen is not loopback, as behind a proxy that ends TLS.
	InsecureHTTP bool

	// Docs shows developers of clients the calls at /docs and /openapi.json; nothing there is about a patient or an organisation.
	Docs bool

	// MetricsListen is a private address for /healthz, /readyz and /metrics; empty means none.
	MetricsListen string

	// Organisation and Clinic name what the first start makes. Ask is asked for them when they are empty then; without Ask that is an error.
	Organisation, Clinic string
	Ask                  func() (organisation, clinic string, err error)
	// Administrator is the first administrator's name as others read it.
	Administrator string

	// Backup says where the server backs itself up to.
	Backup BackupConfig

	// StopWithin is how long running calls may take to end when the server stops.
	StopWithin time.Duration
	// MinFreeBytes must be free on the disk for writes; 0 means the store's default, negative that it is not asked.
	MinFreeBytes int64
	// FreeBytes answers how much room is free; nil asks the file system of Data.
	FreeBytes func() (uint64, error)
	// HashCost is what a password costs; zero means auth.DefaultCost.
	HashCost auth.Cost
	// Now is the clock; Random makes ids and keys, crypto/rand.Reader when nil; Log takes a line a call, nil discards.
	Now    func() time.Time
	Random io.Reader
	Log    *slog.Logger
}

// Default is a server for this machine alone.
func Default() Config {
	return Config{Data: "needlebook-data", Listen: "127.0.0.1:8740", Administrator: "Administrator", StopWithin: 15 * time.Second, Docs: true, Now: time.Now}
}

// ConfigError is a field of a Config that cannot be.
type ConfigError struct {
	Field, Read, Want string
}

func (e *ConfigError) Error() string {
	return fmt.Sprintf("%s: read %q, want %s", e.Field, e.Read, e.Want)
}

// Validate returns a ConfigError for the first field that cannot be.
func (c Config) Validate() error {
	_, _, err := net.SplitHostPort(c.Listen)
	switch {
	case c.Data == "":
		return &ConfigError{"data", c.Data, "a folder"}
	case err != nil:
		return &ConfigError{"listen", c.Listen, "host:port"}
	case (c.CertFile == "") != (c.KeyFile == ""):
		return &ConfigError{"tls-cert and tls-key", c.CertFile + c.KeyFile, "both or none"}
	case c.CertFile != "" && c.Authority:
		return &ConfigError{"tls-authority", "true", "either a certificate or an authority"}
	case c.InsecureHTTP && (c.Authority || c.CertFile != ""):
		return &ConfigError{"insecure-http", "true", "either plain HTTP or TLS"}
	case c.Now == nil:
		return &ConfigError{"now", "", "a clock"}
	case c.StopWithin < 0:
		return &ConfigError{"stop-within", c.StopWithin.String(), "0 or more"}
	}
	if c.PublicURL != "" {
		u, err := url.Parse(c.PublicURL)
		if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
			return &ConfigError{"public-url", c.PublicURL, "http or https, a host and a port"}
		}
	}
	if c.MetricsListen != "" {
		if _, _, err := net.SplitHostPort(c.MetricsListen); err != nil {
			return &ConfigError{"metrics-listen", c.MetricsListen, "host:port"}
		}
	}
	return c.Backup.validate()
}

// unusedNames says that a name was given for what the folder already has under another; empty when all is as asked.
func (c Config) unusedNames(orgs []service.Organisation) string {
	var have []string
	fits := c.Organisation == "" && c.Clinic == ""
	for _, o := range orgs {
		have = append(have, fmt.Sprintf("%q with its clinic %q", o.Name, o.ClinicName))
		fits = fits || (c.Organisation == "" || c.Organisation == o.Name) && (c.Clinic == "" || c.Clinic == o.ClinicName)
	}
	if fits {
		return ""
	}
	return fmt.Sprintf("--organisation and --clinic name what the first start makes. %s was made before and holds %s; the names given, %q and %q, change nothing",
		c.Data, strings.Join(have, ", "), c.Organisation, c.Clinic)
}

// isLoopback reports whether a host:port is of this machine alone.
func isLoopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	if host == "localhost" {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.IsLoopback()
}

// usesAuthority reports whether the server makes its own certificates.
func (c Config) usesAuthority() bool {
	return c.Authority || c.CertFile == "" && !c.InsecureHTTP && !isLoopback(c.Listen)
}
