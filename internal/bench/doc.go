// Package bench measures the sync beside its floor: a bare Connect handler that writes the same documents into bbolt with fsync and reads them back,
// on the same machine in the same run. The ratio counts, not the time.
//
//	go test -bench . -benchtime 1x ./internal/bench
//
// Each benchmark reports ms and, where there is one, floor-ms and the ratio x-floor; docs/benchmarks.md has results with the machine named.
package bench
