// A button that puts a text on the clipboard and says so. Where the browser keeps its clipboard
// shut, the text is told to be marked and copied by hand.
const COPIED = 'Copied';
const BY_HAND = 'The browser did not allow it: mark the text and copy it.';

function render({ model, el }) {
  const button = document.createElement('button');
  button.type = 'button';
  button.className = 'kit-button';
  button.textContent = model.get('label');
  const said = document.createElement('span');
  said.setAttribute('role', 'status');
  said.style.alignSelf = 'center';
  el.classList.add('kit-row');
  el.append(button, said);

  button.addEventListener('click', async () => {
    try {
      await navigator.clipboard.writeText(model.get('text'));
      said.textContent = COPIED;
    } catch {
      said.textContent = BY_HAND;
    }
  });
  const fresh = () => { said.textContent = ''; };
  model.on('change:text', fresh);
  return () => model.off('change:text', fresh);
}

export default { render };
