package tabletcore

import (
	"encoding/json"
	"slices"

	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// people knows the names that the tablet's own records hold.
type people struct{ c *Core }

// StaffName implements chart.People.
func (p people) StaffName(id record.ID) string {
	k := record.Key{Kind: kindStaff, ID: id}
	if f := p.c.factsOf(k); f.Name != "" {
		return f.Name
	}
	text := id.String()
	if i := slices.IndexFunc(p.c.host.People, func(x person) bool { return x.StaffID == text }); i >= 0 {
		return p.c.host.People[i].Name
	}
	return ""
}

// Device implements chart.People.
func (p people) Device(r causal.ReplicaID) (id record.ID, label string) {
	if d, ok := p.c.cache.deviceOf(p.c)[r]; ok {
		return d.id, d.label
	}
	if r == p.c.replica.ID() {
		id, _ := record.ParseID(p.c.host.DeviceID) // the zero id where the host gave none
		return id, p.c.host.Label
	}
	return record.ID{}, ""
}

type deviceName struct {
	id    record.ID
	label string
}

// cache is what was folded from records, until they change.
type cache struct {
	facts   map[record.Key]*chart.Facts
	devices map[causal.ReplicaID]deviceName
	words   map[record.ID][]string // of names in the safety index
	safety  *safetyIndex
	// views is records as readers see them, as JSON, and doubtful how many fields of a record are in conflict. Names of people and devices are in views.
	views    map[record.Key]json.RawMessage
	doubtful map[record.Key]int
}

// mostViews bounds the views that are kept; beyond it all are made anew as they are asked for.
const mostViews = 4000

// safetyIndex is what the replica knows of patients whom it does not hold.
type safetyIndex struct {
	all []*syncv1.SafetyEntry
	of  map[record.ID]*syncv1.SafetyEntry
}

// safety is the safety index, listed once until a patient changes.
func (c *Core) safety() *safetyIndex {
	if c.cache.safety == nil {
		all := c.replica.Safety()
		x := &safetyIndex{all, make(map[record.ID]*syncv1.SafetyEntry, len(all))}
		for _, e := range all {
			x.of[record.ID(e.GetPatientId())] = e
		}
		c.cache.safety = x
	}
	return c.cache.safety
}

func (c *cache) forget(changed []record.Key) {
	for _, k := range changed {
		delete(c.facts, k)
		delete(c.views, k)
		delete(c.doubtful, k)
		if k.Kind == kindStaff || k.Kind == kindDevice {
			clear(c.views)
		}
		if k.Kind == kindPatient {
			delete(c.words, k.ID)
			c.safety = nil
		}
		if k.Kind == kindDevice {
			c.devices = nil
		}
	}
}

// deviceOf is the devices by their replicas.
func (c *cache) deviceOf(core *Core) map[causal.ReplicaID]deviceName {
	if c.devices != nil {
		return c.devices
	}
	c.devices = map[causal.ReplicaID]deviceName{}
	for _, k := range core.replica.Keys(kindDevice) {
		m := &accessv1.Device{}
		if proto.Unmarshal(core.replica.View(k).Message(), m) != nil {
			continue
		}
		for _, x := range m.GetReplicas() {
			if id, err := record.ParseID(x.GetId()); err == nil {
				c.devices[causal.ReplicaID(id)] = deviceName{k.ID, m.GetLabel()}
			}
		}
	}
	return c.devices
}

// factsOf folds a record, once until it changes.
func (c *Core) factsOf(k record.Key) *chart.Facts {
	if f := c.cache.facts[k]; f != nil {
		return f
	}
	f := c.chart.FoldFacts(c.replica.View(k))
	if c.cache.facts == nil {
		c.cache.facts = map[record.Key]*chart.Facts{}
	}
	c.cache.facts[k] = &f
	return &f
}

// viewJSON is a record as a reader sees it, as JSON, made once until it changes; nil when there is nothing of it.
func (c *Core) viewJSON(k record.Key) (json.RawMessage, error) {
	if v, ok := c.cache.views[k]; ok {
		return v, nil
	}
	m, err := c.viewOf(k)
	if err != nil || m == nil {
		return nil, err
	}
	raw, err := messageJSON(m)
	if err != nil {
		return nil, err
	}
	if c.cache.views == nil || len(c.cache.views) >= mostViews {
		c.cache.views = map[record.Key]json.RawMessage{}
	}
	c.cache.views[k] = raw
	return raw, nil
}

// conflictCount is how many fields of a record are in conflict, counted once until it changes.
func (c *Core) conflictCount(k record.Key) int {
	n, ok := c.cache.doubtful[k]
	if !ok {
		if n = len(c.replica.View(k).Conflicts()); c.cache.doubtful == nil {
			c.cache.doubtful = map[record.Key]int{}
		}
		c.cache.doubtful[k] = n
	}
	return n
}
