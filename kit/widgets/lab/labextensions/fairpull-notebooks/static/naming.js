// Names and keypads that the widgets do not give themselves: a slider handle, a group of buttons
// and a read-out get the text of their label, a number box the numeric keypad, a box with a message
// under it points to that message, and the status line is read out when it changes.
const LABELLED = [
  ['.noUi-handle', null],
  ['.widget-readout', null],
  ['.widget-toggle-buttons', 'group'],
  ['.widget-radio', 'radiogroup']
];
const OWNER = '.widget-toggle-buttons, .widget-radio, .widget-inline-hbox';
let messages = 0;

export function nameControls(root) {
  let due = false;
  const later = () => {
    if (due) return;
    due = true;
    requestAnimationFrame(() => {
      due = false;
      nameAll(root);
    });
  };
  new MutationObserver(later).observe(root, {
    childList: true,
    subtree: true,
    attributes: true,
    attributeFilter: ['class']
  });
  later();
}

function nameAll(root) {
  for (const [selector, role] of LABELLED) {
    for (const node of root.querySelectorAll(`${selector}:not([aria-label])`)) {
      const label = node.closest(OWNER)?.querySelector('.widget-label')?.textContent;
      if (!label) continue;
      if (role) node.setAttribute('role', role);
      node.setAttribute('aria-label', label);
    }
  }
  // A button that shows a sign only is named by its tooltip.
  for (const button of root.querySelectorAll('.kit-step[title]')) {
    button.setAttribute('aria-label', button.title);
  }
  // A button that brings one file says its name, not how many files it holds.
  for (const button of root.querySelectorAll('.widget-upload')) {
    for (const text of button.childNodes) {
      if (text.nodeType === Node.TEXT_NODE) text.data = text.data.replace(/ \(\d+\)$/, '');
    }
  }
  // This element stays while what is said in it is replaced: only then is it read out reliably.
  for (const line of root.querySelectorAll('.kit-status > .widget-html-content')) {
    line.setAttribute('aria-live', 'polite');
  }
  for (const input of root.querySelectorAll('.kit-number input')) {
    input.inputMode = 'decimal';
    input.autocomplete = 'off';
  }
  for (const field of root.querySelectorAll('.kit-field')) describe(field);
}

function describe(field) {
  const input = field.querySelector('input, select, textarea');
  const message = field.querySelector('.kit-message');
  if (!input || !message) return;
  if (!message.id) message.id = `kit-message-${(messages += 1)}`;
  input.setAttribute('aria-describedby', message.id);
  input.setAttribute('aria-invalid', String(field.classList.contains('kit-wrong')));
}
