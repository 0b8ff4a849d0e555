// The next shot comes back into view each time the turn goes on: nobody scrolls with wet hands.
function render({ model, el }) {
  el.style.scrollMarginTop = '12px';
  const show = () => el.scrollIntoView({ block: 'start', behavior: 'instant' });
  model.on('change:turn', show);
  return () => model.off('change:turn', show);
}

export default { render };
