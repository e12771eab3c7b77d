"""How things move and ring: profiles, exact modal response, worst cases, shaping, keyframes."""

from __future__ import annotations
