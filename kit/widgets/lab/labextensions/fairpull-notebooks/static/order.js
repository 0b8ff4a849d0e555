// What a person does arrives in the order in which it was done. While the kernel is busy, a widget
// holds its newest text back until the last one was dealt with, but a click is sent at once: "18,5"
// followed by a quick press of Save would be saved as 1. So a click waits until every message is
// answered, and what is typed after it waits behind it.
const BUTTON = '.kit-form .kit-panel .jupyter-button';
const BOX = '.kit-form .kit-panel :is(input, textarea, select)';

export class Order {
  constructor(panel) {
    this.open = new Set(); // messages not answered yet
    this.waiting = []; // clicks and entries not handed on yet, first come first
    this.handingOn = false;
    panel.sessionContext.kernelChanged.connect((_, { newValue }) => this.listen(newValue));
    this.listen(panel.sessionContext.session?.kernel);
    panel.node.addEventListener('click', event => this.click(event), true);
    for (const type of ['input', 'change']) {
      panel.node.addEventListener(type, event => this.entry(event), true);
    }
  }

  // After a new start or a cut line nothing is on its way any more, and no old click counts.
  forget() {
    this.open.clear();
    this.waiting = [];
  }

  listen(kernel) {
    if (!kernel || kernel === this.kernel) return;
    this.kernel = kernel;
    // Callbacks one after the other in one thread; in threads of their own they overtake each other.
    kernel.commsOverSubshells = 'disabled';
    this.forget();
    kernel.anyMessage.connect((_, { msg, direction }) => this.heard(msg, direction));
  }

  heard(msg, direction) {
    if (direction === 'send' && msg.header.msg_type === 'comm_msg') {
      this.open.add(msg.header.msg_id);
    }
    if (msg.header.msg_type === 'status' && msg.content.execution_state === 'idle') {
      this.open.delete(msg.parent_header.msg_id);
      this.handOnSoon();
    }
  }

  click(event) {
    const button = event.target.closest?.(BUTTON);
    if (!button || this.handingOn) return;
    if (this.open.size > 0 || this.waiting.length > 0) {
      this.hold(event, { isClick: true, send: () => button.click() });
    }
  }

  entry(event) {
    const { target, type } = event;
    if (this.handingOn || this.waiting.length === 0 || !target.matches?.(BOX)) return;
    this.hold(event, {
      isClick: false,
      send: () => target.dispatchEvent(new Event(type, { bubbles: true }))
    });
  }

  hold(event, act) {
    event.preventDefault();
    event.stopImmediatePropagation();
    this.waiting.push(act);
    this.handOnSoon();
  }

  // The text held back by a widget is sent while the answer to the one before is being handled:
  // only after that is it known whether something is still on its way.
  handOnSoon() {
    if (this.waiting.length > 0) setTimeout(() => this.handOn(), 0);
  }

  handOn() {
    while (this.waiting.length > 0) {
      if (this.waiting[0].isClick && this.open.size > 0) return;
      const act = this.waiting.shift();
      this.handingOn = true;
      act.send();
      this.handingOn = false;
    }
  }
}
