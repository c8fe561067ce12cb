"""The server behind `rigkit learn`: JupyterLab on a learner's folder, easy to stop."""

import asyncio
import errno
import os
import secrets
import signal
import webbrowser
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode, urlsplit

import zmq
from jupyter_server.serverapp import ServerApp
from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
from tornado.netutil import bind_sockets
from traitlets.config import Config

HOST = "localhost"
DATA = Path(__file__).parent / "data"
CLASSROOM = DATA / "classroom"  # its style sheet makes type and pictures larger
EXTENSIONS = DATA / "lab" / "labextensions"  # a page that stays, and is alive at once
SETTINGS = DATA / "lab" / "settings"  # all cells in the page: links and the page's place are exact
_NEWS = "@jupyterlab/apputils-extension:announcements"


class PromptConnection(ZMQChannelsWebsocketConnection):
    """The stock kernel connection, sending every small message at once.

    Without TCP_NODELAY a slider's message waits some 45 ms until the one before it is acknowledged.
    For each of a slider's questions JupyterLab would also turn its busy light on and off, which it
    draws before the answer that comes right behind: it is not told that the kernel is busy with it.
    """

    def connect(self) -> Any:
        self.websocket_handler.set_nodelay(True)
        return super().connect()

    def handle_outgoing_message(self, stream: str, outgoing_msg: list[Any]) -> None:
        if not self._is_busy_with_a_widget(outgoing_msg):
            super().handle_outgoing_message(stream, outgoing_msg)

    def _is_busy_with_a_widget(self, message: list[Any]) -> bool:
        """True for the news that a kernel begins to read a widget's message."""
        unpack = self.session.unpack
        _, (_, header, parent, _, content, *_) = self.session.feed_identities(message)
        return (
            unpack(header)["msg_type"] == "status"
            and unpack(parent).get("msg_type") == "comm_msg"
            and unpack(content)["execution_state"] == "busy"
        )


class CourseServer(ServerApp):
    """A Jupyter server that Ctrl-C and SIGTERM end at once and without a question."""

    def init_signal(self) -> None:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._end)

    def _end(self, number: int, frame: object) -> None:
        for each in (signal.SIGINT, signal.SIGTERM):
            signal.signal(each, signal.SIG_IGN)  # asking twice must not orphan ending kernels
        print("\nStopping.", flush=True)
        self.stop(from_signal=True)


def obstacle(port: int | None = None, browser: bool = True) -> str | None:
    """Describe, in a sentence, whatever would keep `serve` from starting.

    Parameters
    ----------
    port : int, optional
    browser : bool
        As for `serve`.

    Returns
    -------
    str or None
        None if nothing does.
    """
    if browser:
        try:
            webbrowser.get()
        except webbrowser.Error:
            return (
                "No web browser was found here. "
                "Add --no-browser, and open the address that is printed."
            )
    return None if port is None else _port_obstacle(port)


def _port_obstacle(port: int) -> str | None:
    try:
        for sock in bind_sockets(port, HOST):
            sock.close()
    except OSError as problem:
        taken = problem.errno == errno.EADDRINUSE
        why = "is taken" if taken else f"cannot be used ({problem.strerror})"
        return f"Port {port} {why}. Choose another, or leave out --port to have a free one chosen."
    return None


def serve(
    folder: Path,
    page: str = "",
    port: int | None = None,
    browser: bool = True,
    classroom: bool = False,
) -> None:
    """Run JupyterLab on `folder` until it is stopped; print the address once it answers.

    Parameters
    ----------
    folder : pathlib.Path
        The folder that the server shows, the learner's own.
    page : str
        The file to open, seen from `folder`, with forward slashes.
    port : int, optional
        This one and no other; None for the first free one.
    browser : bool
        True to open a web browser as well.
    classroom : bool
        True for larger type and pictures, to be read from the back row.
    """
    # This environment's kernel and widgets go before others that the user may have.
    os.environ.setdefault("JUPYTER_PREFER_ENV_PATH", "1")
    if classroom:
        os.environ["RIGKIT_TEACHING"] = "1"  # for its kernels: a guess is a show of hands
    token = secrets.token_hex(24)
    server = CourseServer.instance(
        config=_config(folder, page, port, browser, classroom, token),
        jpserver_extensions={"jupyterlab": True},
    )
    if classroom:
        server.static_custom_path = [str(CLASSROOM)]
    server.initialize(argv=[], starter_extension="lab")
    server.web_app.settings["page_config_hook"] = partial(_page_config, classroom)
    address = urlsplit(server.public_url)._replace(query=urlencode({"token": token})).geturl()
    server.io_loop.add_callback(print, f"\n    {address}\n\nStop with Ctrl-C.", flush=True)
    server.start()
    _finish(server.io_loop.asyncio_loop)  # type: ignore[attr-defined]  # asyncio's, as all are now


def _finish(loop: asyncio.AbstractEventLoop) -> None:
    """End what a stopped loop was still doing; its threads would keep Python from ending."""
    tasks = asyncio.all_tasks(loop)
    for task in tasks:
        task.cancel()
    loop.run_until_complete(asyncio.gather(*tasks, return_exceptions=True))


def _config(
    folder: Path, page: str, port: int | None, browser: bool, classroom: bool, token: str
) -> Config:
    """Return settings for this run alone; the user's own Jupyter settings stay as they are."""
    config = Config()
    config.ServerApp.kernel_websocket_connection_class = PromptConnection
    config.ServerApp.root_dir = str(folder)
    config.LabApp.default_url = "/lab" + (f"/tree/{quote(page)}" if page else "")
    config.ServerApp.open_browser = browser
    config.ServerApp.ip = HOST
    config.ServerApp.allow_root = True  # only this machine can reach it, and only with the token
    config.Application.log_level = "ERROR"
    if port is not None:
        config.ServerApp.port = port
        config.ServerApp.port_retries = 0
    config.IdentityProvider.token = token
    if zmq.has("curve"):  # new enough clients and kernels encrypt what they say to each other
        config.KernelManager.transport_encryption = "auto"
    config.LabApp.custom_css = classroom
    config.LabApp.app_settings_dir = str(SETTINGS)
    config.LabApp.extra_labextensions_path = [str(EXTENSIONS)]
    tabs = folder / ".rigkit" / "workspaces"  # those that are open belong to the folder
    config.LabApp.workspaces_dir = str(tabs)
    return config


def _page_config(classroom: bool, handler: object, page_config: dict[str, Any]) -> dict[str, Any]:
    """Say what the page is for, without JupyterLab's question about news before the lesson."""
    page_config["disabledExtensions"] = [*page_config.get("disabledExtensions", []), _NEWS]
    page_config["rigkitTeaching"] = classroom
    return page_config
