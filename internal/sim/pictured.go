package sim

import (
	"crypto/sha256"

	"needlebook/internal/blob"
)

// judgePhotos holds that every photo which was acknowledged, and every good one that a living tablet ever took, can be read and is what its hash says; and
// that no other bytes stand under a hash. What a tablet let go counts too: a backup must have had it.
func (w *world) judgePhotos() {
	owed := map[blob.Hash]string{}
	for h := range w.server.photos {
		owed[h] = "acknowledged"
	}
	for _, p := range w.clinic.taken {
		for _, t := range w.online() {
			if t.saved[p.at] && !p.rotten() {
				owed[p.hash] = "taken"
			}
		}
	}
	for _, p := range w.clinic.taken {
		data, err := w.server.photo(p.hash)
		if err != nil && w.counts["restores by hand"] > 0 {
			// That the organisation has a photo is in no event of the log, so no cursor finds out that a rollback by hand lost it. The bytes must be there.
			if data, err = w.server.blobs.read(p.hash); err == nil {
				w.count("photos without their row")
			}
		}
		switch want := owed[p.hash]; {
		case err == nil && sha256.Sum256(data) != p.hash:
			w.found("conservation", "photo %v is not what its hash says", p.hash)
		case err != nil && want != "":
			w.found("conservation", "photo %v, %s, cannot be read: %v", p.hash, want, err)
		case err == nil:
			w.count("photos read")
		}
	}
}
