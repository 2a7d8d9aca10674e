package server

import (
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
)

// scratchIntro begins the names of the folders in the data folder that hold a copy of the store for a while: one that a backup or a verification works
// on. No one else may make folders of such names.
const scratchIntro = "scratch-"

// removeScratch removes what a process that was killed left behind: each is a copy of all records in the clear. The store's lock says that nobody works on
// one now. A disk that takes no writes keeps them until the next start.
func removeScratch(data string, log *slog.Logger) {
	files, err := os.ReadDir(data)
	if err != nil {
		log.Warn("look for copies of the store that were left behind", "cause", err)
	}
	for _, f := range files {
		if !f.IsDir() || !strings.HasPrefix(f.Name(), scratchIntro) {
			continue
		}
		if err := os.RemoveAll(filepath.Join(data, f.Name())); err != nil {
			log.Warn(fmt.Sprintf("%s is a copy of the store that was left behind: remove it", f.Name()), "cause", err)
			continue
		}
		log.Warn("removed a copy of the store that a backup or a verification left behind when it was killed", "folder", f.Name())
	}
}
