package service

import (
	"net/http"

	"needlebook/gen/needlebook/chart/v1/chartv1connect"
)

// newChartHandler mounts ChartService.
func newChartHandler(s *Service) (string, http.Handler) {
	return chartv1connect.NewChartServiceHandler(chartv1connect.UnimplementedChartServiceHandler{}, s.options()...)
}
