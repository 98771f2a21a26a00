"""Reports: two labels compared with everything behind it, as plain values, as text, and as one page of HTML."""
