package casefile

import "probable/engine"

// Standing returns the records of the events that stand: without what was undone,
// and with another answer in the place of each that was revised. Notes stay where
// they are.
func Standing(records []Record) []Record {
	var out []Record
	for _, r := range records {
		switch {
		case r.Kind == KindNote:
			out = append(out, r)
		case r.Event == nil:
		case r.Event.Kind == engine.Undone:
			for i := len(out) - 1; i >= 0; i-- {
				if out[i].Event != nil {
					out = append(out[:i], out[i+1:]...)
					break
				}
			}
		case r.Event.Kind == engine.Revised:
			n := 0
			for i, o := range out {
				if o.Event == nil || o.Event.Kind != engine.Read && o.Event.Kind != engine.Skipped {
					continue
				}
				if n++; n == r.Event.N {
					e := *r.Event
					e.Kind, e.Check, e.N = engine.Read, o.Event.Check, 0
					out[i] = Record{Kind: KindEvent, Time: o.Time, Event: &e}
					break
				}
			}
		default:
			out = append(out, r)
		}
	}
	return out
}

// Stood returns how a case stood after its last event, or nil where the journal
// does not say; journals of earlier programs do not.
func Stood(records []Record) *Stands {
	for i := len(records) - 1; i >= 0; i-- {
		if records[i].Kind == KindEvent {
			return records[i].Stands
		}
	}
	return nil
}
