// A button waits for what was typed before it. While the kernel is busy, a widget holds its newest
// text back until the last one was dealt with, but a click is sent at once: "18,5" followed by a
// quick press of Save would be saved as 1. So a click is held until every message is answered.
const HELD = '.kit-form .kit-panel .jupyter-button';

export class Order {
  constructor(panel) {
    this.panel = panel;
    this.open = new Set();
    this.held = [];
    this.letThrough = false;
    panel.sessionContext.kernelChanged.connect((_, { newValue }) => this.listen(newValue));
    this.listen(panel.sessionContext.session?.kernel);
    panel.node.addEventListener('click', event => this.click(event), true);
  }

  // After a new start or a cut line nothing is on its way any more, and no old click counts.
  forget() {
    this.open.clear();
    this.held = [];
  }

  listen(kernel) {
    if (!kernel || kernel === this.kernel) return;
    this.kernel = kernel;
    this.forget();
    kernel.anyMessage.connect((_, { msg, direction }) => this.heard(msg, direction));
  }

  heard(msg, direction) {
    if (direction === 'send' && msg.header.msg_type === 'comm_msg') {
      this.open.add(msg.header.msg_id);
    }
    if (msg.header.msg_type === 'status' && msg.content.execution_state === 'idle') {
      this.open.delete(msg.parent_header.msg_id);
      this.releaseSoon();
    }
  }

  click(event) {
    const button = event.target.closest?.(HELD);
    if (!button || this.letThrough) return;
    if (this.open.size === 0 && this.held.length === 0) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    this.held.push(button);
    this.releaseSoon();
  }

  // The text held back by a widget is sent while the answer to the one before is being handled:
  // only after that is it known whether something is still on its way.
  releaseSoon() {
    if (this.held.length === 0) return;
    setTimeout(() => {
      if (this.open.size > 0 || this.held.length === 0) return;
      const button = this.held.shift();
      this.letThrough = true;
      button.click();
      this.letThrough = false;
      this.releaseSoon();
    }, 0);
  }
}
