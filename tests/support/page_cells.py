"""What stands in every cell of a screen that the page shows."""

from __future__ import annotations

# The sixteen colours of an RGBI monitor as RGB (from memory: 2/3 for a colour, 1/3 for bright, brown with half green).
COLOURS = [(0, 0, 0), (0, 0, 170), (0, 170, 0), (0, 170, 170), (170, 0, 0), (170, 0, 170), (170, 85, 0)]
COLOURS += [(170, 170, 170), (85, 85, 85), (85, 85, 255), (85, 255, 85), (85, 255, 255), (255, 85, 85)]
COLOURS += [(255, 85, 255), (255, 255, 85), (255, 255, 255)]

# What stands in every cell: its letter, its colours, and how far it is from its column.
CELLS = """pre => document.fonts.ready.then(() => [...pre.querySelectorAll('.row')].map(row => {
  const out = [], left = row.getBoundingClientRect().left;
  const walk = document.createTreeWalker(row, NodeFilter.SHOW_TEXT);
  for (let node; (node = walk.nextNode());) {
    const style = getComputedStyle(node.parentElement);
    for (let at = 0; at < node.data.length; at++) {
      if (node.data[at] === '\\n') continue;
      const range = document.createRange(); range.setStart(node, at); range.setEnd(node, at + 1);
      const box = range.getBoundingClientRect();
      out.push([node.data[at], style.color, style.backgroundColor, box.left - left]);
    }
  }
  return out; }))"""
