package sim

import "math/rand/v2"

// weighted is a step with how often it is drawn.
type weighted struct {
	weight  int
	op, how string
}

// everyday is what happens whatever else does.
func everyday() []weighted {
	return []weighted{
		{30, "edit", "plain"}, {4, "edit", "stale"}, {3, "edit", "unsaved"}, {2, "edit", "clockback"}, {2, "edit", "clockforward"},
		{4, "open", "plain"}, {6, "settle", "plain"}, {3, "sign", "plain"}, {1, "sign", "altered"}, {4, "take", "plain"},
		{16, "sync", "plain"}, {6, "poll", "plain"}, {8, "send", "plain"}, {3, "send", "loserequest"}, {7, "send", "loseanswer"}, {4, "send", "delayanswer"},
		{2, "send", "twice"}, {3, "send", "crashbefore"}, {3, "send", "crashafter"}, {2, "send", "tamper"}, {4, "late", "plain"}, {4, "replay", "plain"},
		{3, "restart", "plain"}, {4, "rights", "plain"}, {5, "judge", "release"}, {1, "judge", "take"}, {1, "judge", "giveup"}, {3, "api", "plain"},
		{1, "fail", "noroom"}, {1, "fail", "lostcommit"}, {1, "fail", "latecommit"}, {1, "fail", "noread"}, {1, "fail", "lateread"},
		{2, "reboot", "plain"}, {1, "revoke", "plain"}, {2, "allow", "plain"}, {1, "upgrade", "tablet"}, {1, "upgrade", "server"}, {3, "look", "plain"},
	}
}

// copies is what happens to tablets that someone copies and puts back.
func copies() []weighted {
	return []weighted{{4, "keep", "plain"}, {4, "putback", "plain"}, {4, "clone", "plain"}, {1, "destroy", "plain"}}
}

// restores is what happens to a server that is restored.
func restores() []weighted {
	return []weighted{{8, "backup", "plain"}, {1, "forget", "plain"}, {5, "restore", "epoch"}, {4, "restore", "hand"}, {3, "destroy", "plain"}}
}

// Plan draws a schedule. Some have copied tablets, some a restored server, some both, some neither.
func Plan(seed uint64) []Step {
	rng := rand.New(rand.NewPCG(seed, 1))
	deck := everyday()
	switch family := rng.IntN(8); {
	case family < 3:
		deck = append(deck, copies()...)
	case family < 6:
		deck = append(deck, restores()...)
	case family == 6:
		deck = append(append(deck, copies()...), restores()...)
	}
	total := 0
	for _, w := range deck {
		total += w.weight
	}
	steps := make([]Step, 30+rng.IntN(90))
	for i := range steps {
		at := rng.IntN(total)
		w := 0
		for at >= deck[w].weight {
			at -= deck[w].weight
			w++
		}
		steps[i] = Step{Op: deck[w].op, How: deck[w].how, Tablet: rng.IntN(12), Which: rng.IntN(60), Serial: i + 1}
	}
	return steps
}
