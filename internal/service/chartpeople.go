package service

import (
	"context"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/store"

	"github.com/google/uuid"
)

// people names staff and devices in the views of one call.
type people struct {
	ctx     context.Context
	desk    *desk
	devices map[causal.ReplicaID]record.ID
}

// StaffName is the person's name as it is now.
func (p *people) StaffName(id record.ID) string {
	return p.desk.index.nameOf(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_STAFF, ID: id})
}

// Device is the device that a replica is on. A replica that is nobody's is the server's own. A failure of the store leaves a blank: a name is no
// reason to show no record.
func (p *people) Device(replica causal.ReplicaID) (record.ID, string) {
	id, known := p.devices[replica]
	if !known {
		var owner uuid.UUID
		err := p.desk.Store.View(p.ctx, func(r store.Reader) (err error) {
			owner, err = auth.ReplicaOwner(r, uuid.UUID(replica))
			return err
		})
		if err == nil {
			id = recordID(owner)
		}
		if p.devices == nil {
			p.devices = map[causal.ReplicaID]record.ID{}
		}
		p.devices[replica] = id
	}
	return id, p.desk.index.nameOf(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_DEVICE, ID: id})
}
