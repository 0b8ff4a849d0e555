// Two live regions that stay in the page while their text changes: a region that is itself
// replaced is not read out by screen readers.
function render({ model, el }) {
  const note = document.createElement('div');
  note.setAttribute('role', 'status');
  note.setAttribute('aria-live', 'polite');
  const alert = document.createElement('div');
  alert.setAttribute('role', 'alert');
  el.classList.add('kit-status');
  el.append(note, alert);

  const show = () => {
    const message = model.get('message');
    const urgent = model.get('urgent');
    note.textContent = urgent ? '' : message;
    alert.textContent = urgent ? message : '';
  };
  model.on('change:message', show);
  model.on('change:urgent', show);
  show();
}

export default { render };
