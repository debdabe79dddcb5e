package result

// Row is one string and measure, for tables, CSV and comparisons.
type Row struct {
	String   int // 0: the whole pickup
	Note     string
	Test     string
	Measure  string // words of the JSON key, without its unit
	Unit     string
	Quantity Quantity
}

// Rows lists every quantity of every string, then those of the whole pickup,
// in a fixed order.
func (r *Results) Rows() []Row {
	var rows []Row
	for _, s := range r.Strings {
		add := func(test, measure, unit string, q Quantity) {
			if q.Estimate != nil || q.Reason != "" {
				rows = append(rows, Row{s.Number, s.Note, test, measure, unit, q})
			}
		}
		s.Tap.rows(add)
		s.Pluck.rows(add)
		s.Tone.rows(add)
	}
	for _, q := range r.Quiet {
		add := func(measure, unit string, v Quantity) {
			if v.Estimate != nil || v.Reason != "" {
				rows = append(rows, Row{0, "", q.Label, measure, unit, v})
			}
		}
		add("floor", "dBFS", q.FloorDBFS)
		add("floor A-weighted", "dBFS", q.FloorADBFS)
		add("floor without hum", "dBFS", q.WithoutHumDBFS)
	}
	for _, s := range r.Sweeps {
		if s.CornerHz.Estimate != nil || s.CornerHz.Reason != "" {
			rows = append(rows, Row{s.String, "", "sweep", "low corner", "Hz", s.CornerHz})
		}
		if s.CornerCause != nil {
			rows = append(rows, Row{s.String, "", "sweep", "resistance across the discs", "ohm", s.CornerCause.OhmAcross})
		}
	}
	return rows
}

type addRow func(test, measure, unit string, q Quantity)

func (t *Tap) rows(add addRow) {
	if t == nil {
		return
	}
	add("tap", "level", "dBFS", t.LevelDBFS)
	add("tap", "peak", "dB", t.PeakDB)
	add("tap", "balance", "dB", t.BalanceDB)
	add("tap", "signal to noise", "dB", t.SNRDB)
	add("tap", "rise", "ms", t.ContactMS)
	if t.Response != nil {
		add("tap", "response low", "dB", t.Response.LowDB)
		add("tap", "response mid", "dB", t.Response.MidDB)
		add("tap", "response high", "dB", t.Response.HighDB)
	}
}

func (p *Pluck) rows(add addRow) {
	if p == nil {
		return
	}
	add("pluck", "level", "dBFS", p.LevelDBFS)
	add("pluck", "peak", "dB", p.PeakDB)
	add("pluck", "balance", "dB", p.BalanceDB)
	add("pluck", "signal to noise", "dB", p.SNRDB)
	add("pluck", "fundamental", "Hz", p.F1Hz)
	add("pluck", "off target", "cents", p.Cents)
	add("pluck", "inharmonicity B", "1", p.Inharmonicity)
	add("pluck", "attack glide", "cents", p.GlideCents)
	add("pluck", "T60", "s", p.T60S)
	add("pluck", "late T60", "s", p.LateT60S)
	add("pluck", "knee", "s", p.KneeS)
	add("pluck", "broadband T60", "s", p.BroadbandT60S)
	add("pluck", "beats", "Hz", p.BeatHz)
	add("pluck", "rattle", "dB", p.RattleDB)
}

func (t *Tone) rows(add addRow) {
	if t == nil {
		return
	}
	add("tone", "frequency", "Hz", t.Hz)
	add("tone", "offset", "ppm", t.OffsetPPM)
	add("tone", "off nominal", "cents", t.Cents)
	add("tone", "level", "dBFS", t.LevelDBFS)
	add("tone", "balance", "dB", t.BalanceDB)
	add("tone", "T60", "s", t.T60S)
	add("tone", "THD", "dB", t.THDDB)
	add("tone", "THD+N", "dB", t.THDNDB)
}
