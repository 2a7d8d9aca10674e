package demo

import (
	"sync"
	"time"
)

// demoDay is the day that is played, a Wednesday. It is fixed, so that a seed gives the same records on whatever day the demo is run.
func demoDay() time.Time { return time.Date(2026, time.March, 11, 0, 0, 0, 0, time.UTC) }

// clock is the server's clock: it stands where the story is, and is the machine's when the story is over.
type clock struct {
	mu    sync.Mutex
	at    time.Time
	since time.Time // of the machine's clock; zero while the story is told
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.since.IsZero() {
		return c.at
	}
	return c.at.Add(time.Since(c.since))
}

// set puts the clock to a time of the story.
func (c *clock) set(at time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = at
}

// run lets the clock go: from the machine's time, so that it agrees with the tablets that come then, unless that is before the story.
func (c *clock) run() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.since = time.Now()
	if c.since.After(c.at) {
		c.at = c.since
	}
}

// clockTime is a time of a day.
func clockTime(day time.Time, hour, minute int) time.Time {
	return day.Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
}
