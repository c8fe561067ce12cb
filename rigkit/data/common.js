/* What scripts of the kit share. It stands before each of them in one module. */

function element(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

function button(name, pressed, attributes = {}) {
  const made = element('button', {type: 'button', ...attributes}, name);
  made.addEventListener('click', pressed);
  return made;
}

const clamp = (value, low, high) => Math.min(high, Math.max(low, value));

/** Lets a model hear its kernel whose script came late. anywidget gives up waiting for a script after 2 s, as they pass on
 *  a busy machine, and then keeps all that the kernel says from the model, for good. */
async function initialize({model}) {
  const {model: name} = model.get('head');
  if (!name) return; // shown by an older kit
  const whole = await model.widget_manager.get_model(name);
  const {_handle_comm_msg: handle} = Object.getPrototypeOf(whole.constructor.prototype);
  whole.comm?.on_msg(handle.bind(whole));
}
