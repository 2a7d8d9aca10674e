package formulary

import (
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// AgeLimits lists the ages outside which treatment with a product is held or cautioned, those for any product among them, in the market asked for; empty
// asks for all.
func (e *Edition) AgeLimits(product, market string) []*formularyv1.AgeLimit {
	return pick(e.message.GetAgeLimits(), func(a *formularyv1.AgeLimit) bool {
		return (a.Product == nil || a.GetProduct() == product) && Holds(a.GetMarket(), market)
	})
}

// Contraindications lists what speaks against any treatment, of every product and market.
func (e *Edition) Contraindications() []*formularyv1.Contraindication {
	return pick(e.message.GetContraindications(), func(*formularyv1.Contraindication) bool { return true })
}

// Zones lists where injections should be, in the market asked for; empty asks for all.
func (e *Edition) Zones(market string) []*formularyv1.Zone {
	return pick(e.message.GetZones(), func(z *formularyv1.Zone) bool { return Holds(z.GetMarket(), market) })
}

// DepthRules lists how deep targets are injected.
func (e *Edition) DepthRules() []*formularyv1.DepthRule {
	return pick(e.message.GetDepthRules(), func(*formularyv1.DepthRule) bool { return true })
}

// LiftRule finds who may lift the hold of a code. The built-in edition has none: guardrails bring their own.
func (e *Edition) LiftRule(code string) (*formularyv1.LiftRule, bool) {
	return one(pick(e.message.GetLiftRules(), func(l *formularyv1.LiftRule) bool { return l.GetCode() == code }))
}
