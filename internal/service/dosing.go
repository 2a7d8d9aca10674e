package service

import "needlebook/gen/needlebook/dose/v1/dosev1connect"

// dosing answers DoseService. What is not here yet is unimplemented.
type dosing struct {
	dosev1connect.UnimplementedDoseServiceHandler
}
