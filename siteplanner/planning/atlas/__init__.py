"""A region judged before the call comes: tiles judged, places kept with their service, incidents answered from them."""
