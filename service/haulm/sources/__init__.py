"""Where weather comes from: each source fetches and parses; quality, blending and bridging stand beside them."""
