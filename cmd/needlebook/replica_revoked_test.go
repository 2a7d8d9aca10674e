package main

import (
	"fmt"
	"testing"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/device"
	"needlebook/internal/fault"
)

// A revoked tablet must not tell its owner to sync again later: that can never succeed.
func TestRevoked_IsToldApart(t *testing.T) {
	refused := func(reason faultv1.Reason) error {
		return fmt.Errorf("sync: %w", &device.RefusedError{Fault: fault.New(reason, "", "", "")})
	}
	if !revoked(refused(faultv1.Reason_REASON_DEVICE_REVOKED)) || revoked(refused(faultv1.Reason_REASON_RATE_LIMITED)) || revoked(nil) {
		t.Error("a revoked device is not told apart from one that may try again")
	}
}
