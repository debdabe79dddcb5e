package recording

import (
	"runtime"
	"sync"

	"saddlewise/analysis/signal"
)

// heldSamples is how many samples of a take, of all channels together, are
// kept: 8 MiB. More than four takes in work share what four may keep.
const heldSamples = 1 << 20

func mostHeld() int64 { return heldSamples * 4 / int64(max(4, runtime.GOMAXPROCS(0))) }

// rooms lends memory for the samples of one short take after another: clearing
// it anew for each would cost more than reading.
var rooms sync.Pool // of *[]float64

// hold gives room for every channel's samples, until Close; nil where they are
// too many to keep.
func (t *Take) hold() [][]float64 {
	t.release()
	f := t.Format
	if f.Frames > mostHeld()/int64(f.Channels) {
		return nil
	}
	n := int(f.Frames) * f.Channels
	room, _ := rooms.Get().(*[]float64)
	if room == nil || len(*room) < n {
		fresh := make([]float64, signal.PowerOfTwo(n))
		room = &fresh
	}
	t.room = room
	columns := make([][]float64, f.Channels)
	for i := range columns {
		columns[i] = (*room)[i*int(f.Frames):][:f.Frames:f.Frames]
	}
	return columns
}

// release gives the room back; nobody may look at the samples any more.
func (t *Take) release() {
	if t.room != nil {
		rooms.Put(t.room)
	}
	t.room, t.held = nil, nil
}
