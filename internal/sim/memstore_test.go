package sim

import (
	"context"
	"errors"
	"testing"

	"needlebook/internal/store"
	"needlebook/internal/store/storetest"
)

func TestStore_KeepsTheContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Store {
		s := OpenStore(&Disk{})
		t.Cleanup(func() { _ = s.Close() })
		return s
	})
}

func put(s *Store, key string) error {
	return s.Update(context.Background(), func(w store.Writer) error { return w.Put([]byte(key), []byte("v")) })
}

func has(t *testing.T, s *Store, key string) bool {
	t.Helper()
	found := false
	err := s.View(context.Background(), func(r store.Reader) error {
		_, err := r.Get([]byte(key))
		found = err == nil
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestStore_FailuresStrikeOnceAndLeaveWhatTheySay(t *testing.T) {
	for _, test := range []struct {
		failure Failure
		want    error
		kept    bool
		failed  bool
	}{
		{NoRoom, store.ErrDiskFull, false, false},
		{LostCommit, store.ErrFailed, false, true},
		{LateCommit, store.ErrFailed, true, true},
	} {
		disk := &Disk{}
		s := OpenStore(disk)
		if err := put(s, "before"); err != nil {
			t.Fatal(err)
		}
		s.Fail(test.failure)
		if err := put(s, "during"); !errors.Is(err, test.want) {
			t.Errorf("failure %d: %v, want %v", test.failure, err, test.want)
		}
		if err := put(s, "after"); (err != nil) != test.failed {
			t.Errorf("failure %d: the next update gives %v", test.failure, err)
		}
		s = OpenStore(disk)
		if !has(t, s, "before") || has(t, s, "during") != test.kept || has(t, s, "after") == test.failed {
			t.Errorf("failure %d: the disk holds before %v, during %v, after %v", test.failure, has(t, s, "before"), has(t, s, "during"), has(t, s, "after"))
		}
	}
}

func TestStore_SnapshotIsApart(t *testing.T) {
	disk := &Disk{}
	s := OpenStore(disk)
	if err := put(s, "a"); err != nil {
		t.Fatal(err)
	}
	backup := disk.Snapshot()
	if err := put(s, "b"); err != nil {
		t.Fatal(err)
	}
	restored := OpenStore(backup.Snapshot())
	if !has(t, restored, "a") || has(t, restored, "b") || !has(t, OpenStore(disk), "b") {
		t.Error("the snapshot and the disk are not apart")
	}
}
