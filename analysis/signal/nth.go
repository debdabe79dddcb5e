package signal

// Nth is the value that would stand at place k if v, which is not empty, were
// sorted; v is left in another order. It takes linear time: of the two sides of
// a value only the one with place k is looked at again (Hoare, Comm. ACM 4,
// 321, 1961).
func Nth(v []float64, k int) float64 {
	for low, high := 0, len(v)-1; low < high; {
		pivot := v[(low+high)/2]
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	return v[k]
}
