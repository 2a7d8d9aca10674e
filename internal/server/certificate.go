package server

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

// certificate is a certificate chain and its key in files, which others renew while the server runs. It may be used concurrently.
type certificate struct {
	chain, key string
	log        *slog.Logger

	mu   sync.Mutex
	pair *tls.Certificate
	// read is how the files stood when pair was read; failed is how they stood when they could not be, so that this is said once.
	read, failed fileStamp
}

// fileStamp tells whether files were written since.
type fileStamp struct {
	chain, key         time.Time
	chainSize, keySize int64
}

// openCertificate reads the files; an error names the file and what to do.
func openCertificate(chain, key string, log *slog.Logger) (*certificate, error) {
	c := &certificate{chain: chain, key: key, log: log}
	stamp, err := c.stamp()
	if err == nil {
		err = c.load(stamp)
	}
	if err != nil {
		return nil, fmt.Errorf("read certificate %s with key %s, want a PEM chain and the key of its first certificate: %w", chain, key, err)
	}
	return c, nil
}

func (c *certificate) stamp() (s fileStamp, err error) {
	chain, err := os.Stat(c.chain)
	if err != nil {
		return s, err
	}
	key, err := os.Stat(c.key)
	if err != nil {
		return s, err
	}
	return fileStamp{chain.ModTime(), key.ModTime(), chain.Size(), key.Size()}, nil
}

func (c *certificate) load(stamp fileStamp) error {
	pair, err := tls.LoadX509KeyPair(c.chain, c.key)
	if err == nil {
		c.pair, c.read = &pair, stamp
	}
	return err
}

// get answers a handshake with the certificate that is in the files now. While they cannot be read, as between the writing of the two, the one
// before serves on.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	stamp, err := c.stamp()
	if err == nil && stamp == c.read {
		return c.pair, nil
	}
	if err == nil {
		err = c.load(stamp)
	}
	switch {
	case err == nil:
		c.log.Info("the certificate was renewed", "until", c.pair.Leaf.NotAfter)
	case stamp != c.failed:
		c.failed = stamp
		c.log.Warn("the new certificate cannot be read; the one before serves on", "cause", err)
	}
	return c.pair, nil
}
