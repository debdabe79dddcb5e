package analysis

import "sync"

// counter tells how many takes are done; safe for concurrent use.
type counter struct {
	mu     sync.Mutex
	done   int
	total  int
	report func(done, total int)
}

func newCounter(total int, report func(done, total int)) *counter {
	return &counter{total: total, report: report}
}

func (c *counter) add() {
	if c.report == nil {
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.done++
	c.report(c.done, c.total)
}
