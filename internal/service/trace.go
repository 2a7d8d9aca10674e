package service

import (
	"needlebook/gen/needlebook/trace/v1/tracev1connect"
)

// tracing answers TraceService.
type tracing struct {
	tracev1connect.UnimplementedTraceServiceHandler
	*charting
}

func newTracing(h *charting) *tracing { return &tracing{charting: h} }
