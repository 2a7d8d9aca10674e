package server

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
)

// maxSocketPath is what the address of a Unix socket may hold on every system.
const maxSocketPath = 100

// listenSocket opens the way for console commands. Whoever may open the data folder may use it. A folder whose path is too long for a socket
// has none,
// and console commands that need one say so.
func (s *Server) listenSocket() error {
	path := filepath.Join(s.cfg.Data, socketFile)
	if len(path) > maxSocketPath {
		s.log.Warn("the path of the data folder is too long for the console's socket", "bytes", len(path), "most", maxSocketPath)
		return nil
	}
	if err := os.Remove(path); err != nil && !os.IsNotExist(err) { // left behind by a crash; the store's lock says that nobody else is here
		return fmt.Errorf("open console socket: %w", err)
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return fmt.Errorf("open console socket: %w", err)
	}
	s.socket = l
	return os.Chmod(path, 0o600)
}

// consoleServer answers console commands.
func (s *Server) consoleServer() *http.Server {
	mux := http.NewServeMux()
	srv := bounded(mux)
	return srv
}

func answerJSON(w http.ResponseWriter, v any, err error) {
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(v) // the command may be gone
}
