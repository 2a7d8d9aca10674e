package server

import (
	"context"
	"time"
)

// BackupConfig says where and how often a server backs itself up.
type BackupConfig struct {
	// To is the folder; empty means that the server makes no backups by itself.
	To string
	// Every is how often; 0 means once a day.
	Every time.Duration
}

func (b BackupConfig) validate() error { return nil }

func (s *Server) backupRegularly(ctx context.Context) { <-ctx.Done() }
