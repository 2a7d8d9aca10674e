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

// clinic is what happens where tablets hold some patients, take photos and draw from vials.
func clinic() []weighted {
	return []weighted{
		{50, "chart", "plain"}, {5, "chart", "stale"}, {2, "chart", "unsaved"}, {1, "chart", "clockback"}, {1, "chart", "clockforward"},
		{4, "open", "plain"}, {5, "agree", "plain"}, {3, "take", "plain"}, {3, "move", "plain"}, {2, "void", "plain"},
		{6, "witness", "plain"}, {3, "witness", "stale"}, {1, "witness", "altered"}, {1, "witness", "other"},
		{8, "hold", "plain"}, {7, "unhold", "plain"}, {4, "handover", "plain"}, {2, "bar", "plain"},
		{6, "photo", "plain"}, {1, "photo", "same"}, {1, "photo", "wrong"},
		{6, "picture", "plain"}, {1, "picture", "loserequest"}, {2, "picture", "loseanswer"}, {1, "picture", "twice"}, {2, "picture", "skip"}, {1, "sweep", "plain"},
		{18, "sync", "plain"}, {5, "poll", "plain"}, {8, "send", "plain"}, {2, "send", "loserequest"}, {5, "send", "loseanswer"}, {3, "send", "delayanswer"},
		{1, "send", "twice"}, {3, "send", "crashbefore"}, {3, "send", "crashafter"}, {1, "send", "tamper"}, {3, "late", "plain"}, {2, "replay", "plain"},
		{3, "restart", "plain"}, {3, "rights", "plain"}, {4, "judge", "release"}, {1, "judge", "take"}, {1, "judge", "giveup"}, {2, "api", "plain"},
		{1, "fail", "noroom"}, {1, "fail", "lostcommit"}, {1, "fail", "latecommit"}, {1, "fail", "noread"}, {1, "fail", "lateread"},
		{2, "reboot", "plain"}, {1, "revoke", "plain"}, {2, "allow", "plain"}, {1, "upgrade", "tablet"}, {1, "upgrade", "server"}, {4, "look", "plain"}, {6, "compare", "plain"},
		{2, "backup", "plain"}, {2, "forget", "plain"},
	}
}

// Plan draws the schedule of a seed. Some have copied tablets, some a restored server, some both, some neither.
func Plan(setting Setting, seed uint64) Schedule {
	rng := rand.New(rand.NewPCG(seed, 1))
	deck := everyday()
	if setting == Clinic {
		deck = clinic()
	}
	switch family := rng.IntN(8); {
	case family < 3:
		deck = append(deck, copies()...)
	case family < 6:
		deck = append(deck, restores()...)
	case family == 6:
		deck = append(append(deck, copies()...), restores()...)
	}
	return Schedule{Setting: setting, Seed: seed, Steps: deal(rng, deck)}
}

// deal draws some steps.
func deal(rng *rand.Rand, deck []weighted) []Step {
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
