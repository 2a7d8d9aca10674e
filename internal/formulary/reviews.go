package formulary

import formularyv1 "needlebook/gen/needlebook/formulary/v1"

// ReviewRules lists the rules of when a result is to be seen.
func (e *Edition) ReviewRules() []*formularyv1.ReviewRule {
	return pick(e.message.GetReviewRules(), func(*formularyv1.ReviewRule) bool { return true })
}
