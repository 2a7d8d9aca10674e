package server

import (
	"fmt"
	"io"
	"log"
	"net/http"
	"strings"
	"time"
)

// discardLog takes what net/http says of connections that went wrong: it names addresses and adds nothing that the calls' lines lack.
func discardLog() *log.Logger { return log.New(io.Discard, "", 0) }

// privateServer answers the operator's tools on the private listener.
func (s *Server) privateServer() *http.Server {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprintln(w, "ok") })
	mux.HandleFunc("GET /readyz", s.ready)
	mux.HandleFunc("GET /metrics", s.metrics)
	return bounded(mux)
}

// ready says whether tablets should be sent here.
func (s *Server) ready(w http.ResponseWriter, _ *http.Request) {
	switch {
	case s.stopping.Load():
		http.Error(w, "stopping", http.StatusServiceUnavailable)
	case s.store.Stats().Failed:
		http.Error(w, "the store has failed; look at the log, then start the server anew", http.StatusServiceUnavailable)
	case !s.service.Warm():
		http.Error(w, "building indexes; calls are answered, the first searches late", http.StatusServiceUnavailable)
	default:
		fmt.Fprintln(w, "ready")
	}
}

// metrics writes figures in the text form that Prometheus reads. None of them tells of a patient, a person or a device.
func (s *Server) metrics(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; version=0.0.4")
	var b strings.Builder
	figure := func(name, kind, help string, value any) {
		fmt.Fprintf(&b, "# HELP needlebook_%s %s\n# TYPE needlebook_%s %s\nneedlebook_%s %v\n", name, help, name, kind, name, value)
	}
	calls, st := s.service.Counts(), s.store.Stats()
	figure("up_seconds", "gauge", "Seconds since the start.", int64(time.Since(s.began)/time.Second))
	figure("calls_total", "counter", "Calls answered.", calls.Calls)
	figure("calls_refused_total", "counter", "Calls refused with a reason that the caller can mend.", calls.Refused)
	figure("calls_failed_total", "counter", "Calls that failed inside the server.", calls.Failed)
	figure("calls_running", "gauge", "Calls that run now.", s.service.Running())
	figure("edits_total", "counter", "Edits handed in.", calls.Edits)
	figure("records_sent_total", "counter", "Records sent to tablets.", calls.Rows)
	figure("store_commits_total", "counter", "Commits to the disk.", st.Commits)
	figure("store_updates_total", "counter", "Writes that the commits served.", st.Updates)
	figure("store_written_bytes_total", "counter", "Bytes of keys and values written.", st.WrittenBytes)
	figure("store_disk_full_total", "counter", "Writes refused for want of room.", st.DiskFull)
	figure("store_readers", "gauge", "Snapshots that are read now.", st.Readers)
	figure("store_slow_readers_total", "counter", "Snapshots that were held for long.", st.SlowReaders)
	figure("store_file_bytes", "gauge", "Size of the store file.", st.FileBytes)
	figure("store_free_pages", "gauge", "Pages of the file that are free.", st.FreePages)
	figure("store_failed", "gauge", "1 when the store writes no more.", boolFigure(st.Failed))
	figure("backup_last_unix_seconds", "gauge", "When the last backup since the start ended; 0 for none.", s.lastBackup.Load()/1000)
	_, _ = io.WriteString(w, b.String()) // the reader may be gone
}

func boolFigure(b bool) int {
	if b {
		return 1
	}
	return 0
}
